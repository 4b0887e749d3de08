// The next step, large: road, from and to, pass n of k, which way, angle, speed; cautions first.
import { button, h, svg } from "./ui";
import type { CardState } from "./standing";
import type { Card, Pass } from "./words";

export interface NextShown {
  card: Card;
  state: CardState;
  place: number;
  count: number;
  isOpen: boolean;
  isMoving: boolean;
  isRead: boolean;
  nSeen: number;
  lateness: string;
  changes: string[];
  passDone(pass: Pass): void;
  keepSeen(): void;
  jobDone(): void;
  read(): void;
  sheet(name: string): void;
}

export function nextStep(shown: NextShown): HTMLElement[] {
  const { card, state } = shown;
  const pass = card.passes.find((each) => !state.passes.has(each.number));
  const head = h(
    "header",
    { class: "step-head" },
    h("p", { class: "small" }, `Job ${shown.place} of ${shown.count}, card ${card.number}${shown.lateness}`),
    h("h1", {}, card.road),
    h("p", { class: "where" }, `${card.treatment}. ${card.where.replace(/^[^,]*, /, "")}`),
    ...shown.changes.map((each) => h("p", { class: "care" }, each)),
  );
  if (!shown.isRead) return [head, ...cautions(shown)];
  if (pass === undefined) return [head, allPassed(shown)];
  return [head, h("div", { class: "step" }, passBig(pass), h("div", { class: "step-do" }, ...actions(shown, pass)))];
}

function passBig(pass: Pass): HTMLElement {
  return h(
    "section",
    { class: "pass", "aria-label": "Next pass" },
    h("div", { class: "pass-top" }, arrow(pass.heading), h("p", { class: "pass-n" }, "Pass ", h("strong", {}, pass.number), ` of ${pass.of}`)),
    h("p", { class: "way" }, h("strong", {}, pass.heading), `, ${pass.from} to ${pass.to}`),
    h("p", { class: "way" }, pass.operation),
    h(
      "dl",
      { class: "hints" },
      h("div", {}, h("dt", {}, "Moldboard"), h("dd", {}, pass.moldboard || "as needed")),
      h("div", {}, h("dt", {}, `Speed, plan ${pass.planned_speed}`), h("dd", {}, pass.speed)),
    ),
    pass.note ? h("p", { class: "way" }, pass.note) : null,
  );
}

function actions(shown: NextShown, pass: Pass): HTMLElement[] {
  if (!shown.isOpen) return [];
  return [
    shown.nSeen > 0 ? button(`The phone saw ${shown.nSeen} pass${shown.nSeen === 1 ? "" : "es"}: keep`, shown.keepSeen, "big") : null,
    button(`Pass ${pass.number} done`, () => shown.passDone(pass), "main big"),
    h("div", { class: "pair" }, button("Job done", shown.jobDone), button("Not done", () => shown.sheet("not_done"))),
    button("Report something", () => shown.sheet("menu"), "big"),
  ].filter((each): each is HTMLElement => each !== null);
}

function allPassed(shown: NextShown): HTMLElement {
  const { card } = shown;
  return h(
    "section",
    { class: "step" },
    h(
      "div",
      { class: "pass" },
      h("p", { class: "pass-n" }, card.passes.length > 0 ? "All passes made" : card.treatment),
      card.passes.length > 0 ? null : h("ol", { class: "plain-list" }, card.steps.map((each) => h("li", {}, each.text, each.detail ? ` (${each.detail})` : ""))),
      h("p", { class: "way" }, h("strong", {}, "Leave it like this: "), card.end_state),
      card.checks.length > 0 ? h("ul", { class: "plain-list" }, card.checks.map((each) => h("li", {}, each))) : null,
    ),
    h(
      "div",
      { class: "step-do" },
      ...(shown.isOpen
        ? [button("Job done", shown.jobDone, "main big"), button("Not done", () => shown.sheet("not_done")), button("Report something", () => shown.sheet("menu"), "big")]
        : []),
    ),
  );
}

function cautions(shown: NextShown): HTMLElement[] {
  const { card } = shown;
  return [
    h(
      "section",
      { class: "cautions", "aria-label": "Before the first pass" },
      h("h2", {}, "Before the first pass"),
      h("ul", { class: "plain-list" }, card.cautions.map((each) => h("li", {}, each.text, each.at ? h("strong", {}, ` ${each.at}`) : null))),
      h("p", {}, "Local codes and licensed practice govern. Seat belt on."),
      h("p", { class: "small" }, `Surface, as expected: ${card.moisture}`),
    ),
    shown.isOpen ? button("Read. Start this job", shown.read, "main big") : h("span"),
  ];
}

const TURN: Record<string, number> = { northbound: 0, eastbound: 90, southbound: 180, westbound: 270 };

function arrow(heading: string): SVGElement {
  const turn = TURN[heading] ?? 0;
  return svg(
    "svg",
    { class: "arrow", viewBox: "0 0 100 100", "aria-hidden": "true" },
    svg("path", { d: "M50 6 L86 50 L64 50 L64 94 L36 94 L36 50 L14 50 Z", transform: `rotate(${turn} 50 50)` }),
  );
}
