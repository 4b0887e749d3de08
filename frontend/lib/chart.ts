// Draw a chart from its specification. Expressions are interpreted, never compiled: the page's
// rules allow no code made from text. Colours of letters follow the page, light or dark.
import { expressionInterpreter } from "vega-interpreter";
import embed, { type Result, type VisualizationSpec } from "vega-embed";
import { colour } from "./page";

export type Spec = VisualizationSpec;
export type Chart = Result["view"];

/** Printed colours and what they become here: letters and lines follow the page, hues stay apart on black. */
function hereColours(): [string, string][] {
  const words: [string, string][] = [
    ["#1b1b1b", colour("--ink")],
    ["#5a6664", colour("--ink-soft")],
    ["#d8ddd9", colour("--hair")],
  ];
  if (!matchMedia("(prefers-color-scheme: dark)").matches) return words;
  return [...words, ["#7a0f3c", "#e88aa9"], ["#1f5f99", "#6fb1e6"], ["#0f7a5a", "#4dbb92"]];
}

/** Draw into a place that keeps its own words for whoever cannot see the chart. */
export async function drawChart(place: HTMLElement, spec: Spec): Promise<Chart> {
  let text = JSON.stringify(spec);
  for (const [printed, here] of hereColours()) text = text.replaceAll(JSON.stringify(printed), JSON.stringify(here));
  const result = await embed(place, JSON.parse(text) as Spec, {
    mode: "vega-lite",
    renderer: "svg",
    actions: false,
    ast: true,
    expr: expressionInterpreter,
    defaultStyle: false,
    tooltip: false,
  });
  return result.view;
}
