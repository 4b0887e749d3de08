// The shift: beginning, signs of life, when one is expected back, and the end with nothing left open.
import { button, clock, h } from "./ui";
import { expectedBack, openShift, stateOf, today, type Told } from "./standing";
import type { Day, Fact, Picture } from "./words";

export interface ShiftShown {
  day: Day;
  told: Told[];
  facts: Fact[];
  photos: Picture[];
  isOpen: boolean;
  state: string;
  skew: number | undefined;
  fullness: number | undefined;
  hasUpdate: boolean;
  begin(expected: string, isAlone: boolean): void;
  checkIn(): void;
  later(minutes: number): void;
  end(): void;
  undo(fact: Fact): void;
  send(): void;
  again(): void;
  update(): void;
}

export function beginShift(day: Day, isOpen: boolean, begin: ShiftShown["begin"]): HTMLElement[] {
  let back = startBack(day);
  let isAlone = true;
  const shown = h("p", { class: "pass-n" });
  const alone = h("div", { class: "choice" });
  const draw = (): void => {
    shown.textContent = `Expected back ${clock(back.toISOString())}`;
    alone.replaceChildren(
      button("I work alone", () => ((isAlone = true), draw()), isAlone ? "chosen" : "", { "aria-pressed": String(isAlone) }),
      button("With others", () => ((isAlone = false), draw()), isAlone ? "" : "chosen", { "aria-pressed": String(!isAlone) }),
    );
  };
  draw();
  const move = (minutes: number): void => {
    back = new Date(back.getTime() + minutes * 60_000);
    draw();
  };
  const n = today(day).length;
  return [
    h("header", { class: "step-head" }, h("h1", {}, day.machine.name), h("p", { class: "where" }, `${n} job${n === 1 ? "" : "s"} today for ${day.who}`)),
    ...notices(day),
    shown,
    ...(isOpen
      ? [
          h("div", { class: "pair" }, button("− 30 min", () => move(-30)), button("+ 30 min", () => move(30))),
          alone,
          button("Start the shift", () => begin(back.toISOString(), isAlone), "main big"),
        ]
      : []),
    h("p", { class: "small" }, "If you are not heard from by then, the office is told. In an emergency call; this page cannot."),
  ];
}

export function shiftPage(shown: ShiftShown): HTMLElement[] {
  const { day, told, facts } = shown;
  const open = openShift(told);
  const back = expectedBack(day, told, open);
  const waiting = facts.filter((each) => each.state === "waiting").length;
  const refused = facts.filter((each) => each.state === "refused");
  const pictures = shown.photos.filter((each) => !each.isUp && !each.refused).length;
  return [
    h("h1", {}, open ? "Your shift" : "No shift open"),
    open ? h("p", { class: "way" }, `Since ${clock(open.at)}${back ? `, expected back ${clock(back)}` : ""}`) : null,
    ...notices(day),
    ...leftOpen(day, told),
    ...(open && shown.isOpen
      ? [
          button("Check in: all well", shown.checkIn, "main big"),
          h("div", { class: "pair" }, button("Back 30 min later", () => shown.later(30)), button("Back 30 min earlier", () => shown.later(-30))),
          button("Finish the shift", shown.end, "big"),
        ]
      : []),
    h("h2", {}, "With the office"),
    h("p", { id: "sync-state" }, shown.state),
    h("p", {}, waiting + pictures === 0 ? "Everything you told has arrived." : `${waiting} fact${waiting === 1 ? "" : "s"} and ${pictures} photo${pictures === 1 ? "" : "s"} wait for signal; they are safe on this phone.`),
    shown.isOpen ? button("Send now", shown.send) : null,
    shown.skew !== undefined && Math.abs(shown.skew) > day.limits.skew_told_s
      ? h("p", { class: "care" }, `This phone's clock is ${Math.round(Math.abs(shown.skew) / 60)} min ${shown.skew > 0 ? "fast" : "slow"}. The office corrects every time; set the clock when you can.`)
      : null,
    shown.fullness !== undefined && shown.fullness > day.limits.storage_share
      ? h("p", { class: "care" }, "Storage on this phone is nearly full. Facts still fit; take fewer photos until they are sent.")
      : null,
    shown.hasUpdate && shown.isOpen ? button("A newer page is here: take it", shown.update, "big") : null,
    ...refused.map((each) => h("p", { class: "care" }, h("strong", {}, `Not taken by the office: ${label(each, day)}. `), each.why)),
    refused.length > 0 && shown.isOpen ? button("Offer it again", shown.again) : null,
    ...shown.photos.filter((each) => each.refused).map((each) => h("p", { class: "care" }, h("strong", {}, "A photo was not taken. "), each.refused)),
    h("h2", {}, "What you told today"),
    h(
      "ul",
      { class: "plain-list told" },
      facts
        .filter((each) => each.kind !== "undo" && each.kind !== "track" && each.at.slice(0, 10) >= new Date(Date.now() - 86_400_000).toISOString().slice(0, 10))
        .slice(-40)
        .reverse()
        .map((each) => line(each, shown)),
    ),
  ].filter((each): each is HTMLElement => each !== null);
}

function line(fact: Fact, shown: ShiftShown): HTMLElement {
  const isUndone = shown.facts.some((each) => each.kind === "undo" && each.payload["of"] === fact.id && each.state !== "refused");
  const state = fact.state === "sent" ? "at the office" : fact.state === "waiting" ? "waiting" : "not taken";
  return h(
    "li",
    {},
    h("span", { class: isUndone ? "undone" : "" }, `${clock(fact.at)} ${label(fact, shown.day)}`),
    h("span", { class: "small" }, isUndone ? "undone" : fact.why ? `${state}: ${fact.why}` : state),
    shown.isOpen && !isUndone && fact.state !== "refused" ? button("Undo", () => shown.undo(fact), "", { "aria-label": `Undo ${label(fact, shown.day)}` }) : null,
  );
}

export function label(fact: Fact, day: Day): string {
  const card = day.cards.find((each) => each.id === fact.card);
  const said = fact.payload;
  const unit = day.units;
  const words: Record<string, () => string> = {
    shift_start: () => "shift started",
    shift_end: () => "shift finished",
    check_in: () => "checked in",
    pass_done: () => `pass ${said["pass"]} done`,
    job_done: () => "job done",
    not_done: () => `not done: ${day.reasons[String(said["reason"])] ?? ""}`,
    hours: () => `${said["hours"]} h`,
    loads: () => `${said["loads"]} loads`,
    stakes: () => `${said["stakes"]} stakes`,
    water: () => `${Math.round(Number(said["litres"]) / unit.litres.factor)} ${unit.litres.sign} of water`,
    windrow: () => `windrow left, ${said["side"]}`,
    culvert: () => `culvert ${said["state"]}`,
    soft_spot: () => "soft spot",
    sign_missing: () => "sign missing",
    rock: () => "oversize rock",
    felt: () => `surface ${String(said["felt"]).replace("_", " ")}`,
    edge: () => "cutting edge changed",
    photo: () => "photo",
    note: () => String(said["note"]),
    edit: () => {
      const target = String(said["target"]);
      if (target.endsWith("/remark")) return `remark: ${said["value"]}`;
      if (target.endsWith("/n_passes")) return `takes ${said["value"]} passes`;
      return `expected back ${clock(String(said["value"]))}`;
    },
  };
  return (words[fact.kind]?.() ?? fact.kind) + (card ? `, ${card.road}` : "");
}

export function notices(day: Day): HTMLElement[] {
  return [
    ...day.withdrawn.map((each) => h("p", { class: "alarm" }, h("strong", {}, `Card ${each.number} is withdrawn, do not work by it. `), each.because)),
    ...(day.n_drafts > 0 ? [h("p", { class: "small" }, `${day.n_drafts} more card${day.n_drafts === 1 ? " is a draft" : "s are drafts"}: no order until the office issues ${day.n_drafts === 1 ? "it" : "them"}.`)] : []),
  ];
}

/** What must not be forgotten when one goes home. */
export function leftOpen(day: Day, told: Told[]): HTMLElement[] {
  const left: string[] = [];
  for (const card of today(day)) {
    const state = stateOf(card, told);
    const mine = told.filter((each) => each.card === card.id);
    const windrow = mine.filter((each) => each.kind === "windrow").at(-1);
    const culvert = mine.filter((each) => each.kind === "culvert").at(-1);
    if (windrow) left.push(`Windrow ${windrow.payload["side"]} on ${card.road}${windrow.payload["is_in_travelled_way"] ? ", in the travelled way" : ""}: signed, low, approved?`);
    if (culvert?.payload["state"] === "open") left.push(`Culvert open on ${card.road}: closed or barricaded?`);
    if (state.isBegun && !state.isDone && !state.isLeft) left.push(`${card.road}: neither done nor told why not.`);
    if (state.isDone && !mine.some((each) => each.kind === "hours") && !card.is_closed) left.push(`${card.road}: hours not told.`);
  }
  return left.length > 0 ? [h("div", { class: "care" }, h("strong", {}, "Before you go home"), h("ul", { class: "plain-list" }, left.map((each) => h("li", {}, each))))] : [];
}

/** Half an hour after the shift's usual end, or its length from now. */
function startBack(day: Day): Date {
  const now = new Date();
  const back = new Date(now.getTime() + day.shift.hours * 3_600_000);
  if (day.shift.begin_h !== null) {
    const usual = new Date(now);
    const end = day.shift.begin_h + day.shift.hours + 0.5;
    usual.setHours(Math.floor(end), Math.round((end % 1) * 60), 0, 0);
    if (usual > now) return usual;
  }
  return new Date(Math.ceil(back.getTime() / 900_000) * 900_000);
}
