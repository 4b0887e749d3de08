// Draw a chart from its specification. Expressions are interpreted, never compiled: the page's
// rules allow no code made from text. Colours of letters follow the page, light or dark.
import { expressionInterpreter } from "vega-interpreter";
import embed, { type Result, type VisualizationSpec } from "vega-embed";
import { colour } from "./page";

export type Spec = VisualizationSpec;
export type Chart = Result["view"];

/** Draw into a place that keeps its own words for whoever cannot see the chart. */
export async function drawChart(place: HTMLElement, spec: Spec): Promise<Chart> {
  const ink = colour("--ink");
  const soft = colour("--ink-soft");
  const hair = colour("--hair");
  const words = {
    axis: { labelColor: ink, titleColor: soft, gridColor: hair, domainColor: soft, tickColor: soft },
    legend: { labelColor: ink, titleColor: soft },
  };
  const result = await embed(place, spec, {
    mode: "vega-lite",
    renderer: "svg",
    actions: false,
    ast: true,
    expr: expressionInterpreter,
    defaultStyle: false,
    tooltip: false,
    config: words,
  });
  return result.view;
}
