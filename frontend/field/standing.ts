// What stands: which facts are not undone, and where each card has got to.
import type { Card, Day, Fact } from "./words";

export interface Told {
  id: string;
  kind: string;
  card: string | null;
  payload: Record<string, unknown>;
  at: string;
  by?: string;
}

export interface CardState {
  passes: Set<number>;
  isDone: boolean;
  isLeft: boolean;
  isBegun: boolean;
}

/** Own facts and those of others, without what was undone or refused, in the order they were told. */
export function standing(facts: Fact[], day: Day | undefined): Told[] {
  const own: Told[] = facts.filter((each) => each.state !== "refused");
  const known = new Map([...(day?.told ?? []), ...own].map((each) => [each.id, each]));
  const undone = new Set([...known.values()].filter((each) => each.kind === "undo").map((each) => String(each.payload["of"])));
  return [...known.values()].filter((each) => each.kind !== "undo" && !undone.has(each.id)).sort((a, b) => (a.at < b.at ? -1 : 1));
}

export function stateOf(card: Card, told: Told[]): CardState {
  const mine = told.filter((each) => each.card === card.id);
  const passes = new Set<number>();
  let end = "";
  for (const each of mine) {
    if (each.kind === "pass_done") passes.add(Number(each.payload["pass"]));
    if (each.kind === "job_done" || each.kind === "not_done") end = each.kind;
  }
  return { passes, isDone: end === "job_done" || card.is_closed, isLeft: end === "not_done", isBegun: mine.length > 0 };
}

/** The first card of today that is neither done nor given up. */
export function nextCard(day: Day, told: Told[]): Card | undefined {
  return today(day).find((card) => {
    const state = stateOf(card, told);
    return !state.isDone && !state.isLeft;
  });
}

export function today(day: Day): Card[] {
  return day.cards.filter((card) => card.day === day.today);
}

/** Whether the shift is open, and since which fact. */
export function openShift(told: Told[]): Told | undefined {
  let open: Told | undefined;
  for (const each of told) {
    if (each.kind === "shift_start") open = each;
    if (each.kind === "shift_end") open = undefined;
  }
  return open;
}

/** What was changed about a card since it was issued, the newest word on each. */
export function changesOf(card: Card, told: Told[]): string[] {
  const newest = (word: string): Told | undefined => told.filter((each) => each.kind === "edit" && each.payload["target"] === `card/${card.id}/${word}`).at(-1);
  const by = (each: Told): string => (each.by ? ` (${each.by})` : "");
  const [remark, passes] = [newest("remark"), newest("n_passes")];
  return [
    ...(passes ? [`Passes it takes, as told: ${passes.payload["value"]}${by(passes)}. The card says ${card.passes.length}.`] : []),
    ...(remark && remark.payload["value"] ? [`${remark.payload["value"]}${by(remark)}`] : []),
  ];
}

export function expectedBack(day: Day, told: Told[], open: Told | undefined): string | undefined {
  const edits = told.filter((each) => each.kind === "edit" && each.payload["target"] === `shift/${day.machine.id}/expected_back`);
  const last = edits.at(-1);
  if (last !== undefined && (open === undefined || last.at >= open.at)) return String(last.payload["value"]);
  const said = open?.payload["expected_back"];
  return said === undefined ? undefined : String(said);
}
