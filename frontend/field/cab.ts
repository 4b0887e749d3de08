// The page in the cab. It is drawn from what the phone keeps; the office may be there or not.
import { Gate, PassWatch, type Where } from "./gate";
import { drawMap } from "./map";
import { nextStep } from "./next";
import { shrink } from "./photo";
import { OFFERED, SHEETS, suggested, WITHOUT_CARD } from "./report";
import { beginShift, label, shiftPage } from "./shift";
import { changesOf, expectedBack, nextCard, openShift, standing, stateOf, today, type Told } from "./standing";
import { allFacts, fullness, offerAgain, photosToSend, recall, remember, tell } from "./store";
import { keepSyncing, link, pairWith, sync } from "./sync";
import { button, clock, h } from "./ui";
import type { Card, Day, Fact, Paired, Picture } from "./words";

const page = {
  tab: "next" as "next" | "list" | "map" | "shift",
  sheet: "",
  chosen: "",
  isClose: true,
  message: "",
  isAlarm: false,
  paired: undefined as Paired | undefined,
  day: undefined as Day | undefined,
  facts: [] as Fact[],
  told: [] as Told[],
  photos: [] as Picture[],
  read: new Set<string>(),
  fullness: undefined as number | undefined,
  skew: undefined as number | undefined,
  waitingWorker: undefined as ServiceWorker | undefined,
};
const gate = new Gate(() => page.day?.limits);
let watch: PassWatch | undefined;
let track: [number, number, number][] = [];
let trackBegan = 0;
let isBusy = false;
let busyWith = "";
let lastPass = 0;
const TABS: [typeof page.tab, string][] = [["next", "Next"], ["list", "List"], ["map", "Map"], ["shift", "Shift"]];
const TRACK_EVERY_S = 15;
const TRACK_POINTS = 40;
const SAID_MS = 5000;
const AGAIN_MS = 500;

async function start(): Promise<void> {
  page.paired = await recall("paired");
  page.day = await recall("day");
  page.read = new Set((await recall("read")) ?? []);
  link.onChange = () => void refresh();
  link.onDay = (day) => {
    page.day = day;
    if (day && day.release !== document.documentElement.dataset["release"]) void navigator.serviceWorker?.getRegistration("/cab/").then((each) => each?.update());
  };
  link.onAnswers = (answers) => {
    const first = answers[0];
    if (first) say(first.why, first.answer === "rejected");
  };
  gate.onChange = draw;
  // What the phone holds is read before anything is drawn: it never says that nothing waits
  await refresh();
  void register();
  const code = new URLSearchParams(location.hash.slice(1)).get("pair");
  if (code) {
    history.replaceState(null, "", location.pathname);
    await pairing(code);
  }
  if (page.paired) gate.follow(moved);
  await refresh();
  keepSyncing();
}

async function refresh(): Promise<void> {
  page.paired = await recall("paired");
  page.facts = await allFacts();
  page.photos = await photosToSend();
  page.fullness = await fullness();
  page.skew = await recall("skew");
  page.told = standing(page.facts, page.day);
  draw();
}

/** Keep a fact, show it at once, send it when there is signal. */
async function keep(kind: string, payload: Record<string, unknown>, card: Card | undefined, file?: File): Promise<void> {
  // A glove touches twice: the second touch would tick the pass that has just come up
  if (!gate.isOpen || (kind === "pass_done" && payload["is_seen"] === undefined && Date.now() - lastPass < AGAIN_MS)) return;
  if (isBusy) {
    // A second touch on the same thing is one; anything else must not vanish without a word
    if (kind !== busyWith) say("NOT kept: the phone was still busy. Touch again.", true);
    return;
  }
  isBusy = true;
  busyWith = kind;
  try {
    let photo: { data: ArrayBuffer; sha256: string } | undefined;
    if (file) {
      photo = await shrink(file, page.day?.limits.photo_side_px ?? 1600);
      payload = { ...payload, bytes: photo.data.byteLength, sha256: photo.sha256 };
    }
    const fact = await tell(kind, payload, card?.id ?? null, photo);
    say(page.day ? `Kept: ${label(fact, page.day)}` : "Kept", false);
    if (kind === "pass_done") lastPass = Date.now();
    page.sheet = "";
  } catch (error) {
    const isFull = error instanceof DOMException && error.name === "QuotaExceededError";
    say(isFull ? "NOT kept: the phone's storage is full. Free some, or send first." : `NOT kept: ${error instanceof Error ? error.message : "try again"}`, true);
  } finally {
    isBusy = false;
  }
  await refresh();
  void sync();
}

function moved(where: Where): void {
  const card = current();
  if (!card || !page.day || !openShift(page.told)) return;
  if (watch?.card.id !== card.id) watch = new PassWatch(card, page.day.limits);
  watch.move(where);
  if (track.length === 0) trackBegan = where.at;
  const seconds = Math.round((where.at - trackBegan) / 1000);
  if (track.length === 0 || seconds - track.at(-1)![0] >= TRACK_EVERY_S) track.push([seconds, round(where.lon), round(where.lat)]);
  if (track.length >= TRACK_POINTS) void keepTrack();
}

/** Where the machine went, for the replay; kept while a shift is open, never read while moving. */
async function keepTrack(): Promise<void> {
  if (track.length < 2) return;
  const points = track;
  track = [];
  await tell("track", { points }, current()?.id ?? null);
  void sync();
}

function current(): Card | undefined {
  if (!page.day) return undefined;
  return today(page.day).find((each) => each.id === page.chosen) ?? nextCard(page.day, page.told);
}

function draw(): void {
  const root = document.getElementById("cab");
  if (!root) return;
  const isTyping = document.activeElement instanceof HTMLInputElement && root.contains(document.activeElement);
  // A sheet that is being filled in is not drawn anew under the finger
  if ((isTyping || page.sheet) && root.dataset["sheet"] === page.sheet && root.dataset["open"] === String(gate.isOpen) && page.sheet !== "") {
    return drawBar();
  }
  const scroll = root.querySelector("main")?.scrollTop ?? 0;
  // Where the eye was stays, except where something else is shown now
  const shown = [page.tab, page.sheet, current()?.id, page.read.has(current()?.id ?? "")].join(" ");
  const isSame = root.dataset["at"] === shown;
  root.dataset["sheet"] = page.sheet;
  root.dataset["open"] = String(gate.isOpen);
  root.dataset["at"] = shown;
  const main = h("main", { id: "sheet", tabindex: -1 }, ...body());
  root.replaceChildren(bar(), main, ...(page.paired && page.day && !page.sheet ? [tabs()] : []));
  if (isSame) main.scrollTop = scroll;
}

function drawBar(): void {
  document.querySelector("#cab > .bar")?.replaceWith(bar());
}

function body(): HTMLElement[] {
  const { day } = page;
  if (!page.paired || (link.line === "unpaired" && !day)) return pairingPage();
  if (!day) return [h("h1", {}, "Getting today's cards"), h("p", {}, link.line === "offline" ? "No answer from the office. Open this page once where there is signal." : "One moment.")];
  if (page.sheet) return sheet(day);
  if (page.tab === "shift") return [...(link.line === "unpaired" ? pairingPage() : []), ...shift(day)];
  if (!openShift(page.told)) return beginShift(day, gate.isOpen, (expected_back, is_alone) => void keep("shift_start", { expected_back, is_alone, who: day.who, ...here() }, undefined));
  if (page.tab === "list") return list(day);
  if (page.tab === "map") return map(day);
  return next(day);
}

function next(day: Day): HTMLElement[] {
  const card = current();
  if (!card) return [h("h1", {}, today(day).length > 0 ? "All jobs told" : "No job today"), h("p", {}, today(day).length > 0 ? "Finish the shift when you are back." : "The office has issued no card for this machine today."), ...(gate.isOpen ? [button("Report something", () => openSheet("menu"), "big")] : []), button("To the shift", () => go("shift"), "big")];
  const state = stateOf(card, page.told);
  const cards = today(day);
  return nextStep({
    card,
    state,
    place: cards.indexOf(card) + 1,
    count: cards.length,
    isOpen: gate.isOpen,
    isMoving: gate.isMoving,
    isRead: page.read.has(card.id),
    nSeen: seen(card, state.passes.size),
    lateness: card.start ? `, planned ${card.start}` : "",
    changes: changesOf(card, page.told),
    passDone: (pass) => void keep("pass_done", { pass: pass.number, ...here() }, card),
    keepSeen: () => void keepSeen(card),
    jobDone: () => void done(card),
    read: () => void markRead(card),
    sheet: (name) => openSheet(name),
  });
}

function seen(card: Card, ticked: number): number {
  if (watch?.card.id !== card.id) return 0;
  return Math.max(0, Math.min(watch.seen, card.passes.length) - ticked);
}

async function keepSeen(card: Card): Promise<void> {
  const state = stateOf(card, page.told);
  const missing = card.passes.filter((each) => !state.passes.has(each.number)).slice(0, seen(card, state.passes.size));
  for (const pass of missing) await keep("pass_done", { pass: pass.number, is_seen: true }, card);
}

async function done(card: Card): Promise<void> {
  await keep("job_done", {}, card);
  page.chosen = "";
  await keepTrack();
  // The hours are asked for at once: they are never taken from the plan
  page.chosen = card.id;
  openSheet("hours");
}

async function markRead(card: Card): Promise<void> {
  page.read.add(card.id);
  await remember("read", [...page.read].slice(-100));
  draw();
}

function list(day: Day): HTMLElement[] {
  return [
    h("h1", {}, "Today"),
    h(
      "ol",
      { class: "plain-list jobs" },
      today(day).map((card, i) => {
        const state = stateOf(card, page.told);
        const how = state.isDone ? "done" : state.isLeft ? "left" : state.isBegun ? `${state.passes.size} of ${card.passes.length} passes` : card.start;
        return h(
          "li",
          { class: card === current() ? "now" : "" },
          button(`${i + 1}. ${card.road}`, () => {
            if (!gate.isOpen) return;
            page.chosen = card.id;
            go("next");
          }, "row"),
          h("span", { class: "small" }, `${card.treatment}, ${how}`),
        );
      }),
    ),
    ...later(day),
  ];
}

function later(day: Day): HTMLElement[] {
  const ahead = day.cards.filter((card) => card.day > day.today);
  if (ahead.length === 0) return [];
  return [h("h2", {}, "Days ahead"), h("ul", { class: "plain-list" }, ahead.map((card) => h("li", {}, `${card.day}: ${card.treatment}, ${card.road}`)))];
}

function map(day: Day): HTMLElement[] {
  const told = gate.isAllowed === false ? "Your position is not shown: the phone does not allow it." : gate.where ? `Position within ${Math.ceil(gate.where.accuracy_m / day.units.m.factor)} ${day.units.m.sign}, ${clock(new Date(gate.where.at).toISOString())}.` : "Waiting for a position.";
  const drawn = h("div", { class: "map-box" });
  drawn.append(drawMap(today(day), current(), gate.where, page.isClose));
  return [
    h("h1", {}, current()?.road ?? "Map"),
    drawn,
    gate.isMoving ? h("span") : button(page.isClose ? "Show all jobs" : "Show this job", () => ((page.isClose = !page.isClose), draw())),
    h("p", { class: "small" }, told),
  ];
}

function shift(day: Day): HTMLElement[] {
  const open = openShift(page.told);
  return shiftPage({
    day,
    told: page.told,
    facts: page.facts,
    photos: page.photos,
    isOpen: gate.isOpen,
    state: lineWords(),
    skew: page.skew,
    fullness: page.fullness,
    hasUpdate: page.waitingWorker !== undefined,
    begin: () => undefined,
    checkIn: () => void keep("check_in", { via: "phone", ...here() }, undefined),
    later: (minutes) => {
      const from = new Date(expectedBack(day, page.told, open) ?? Date.now());
      const value = new Date(from.getTime() + minutes * 60_000).toISOString();
      void keep("edit", { target: `shift/${day.machine.id}/expected_back`, value }, undefined);
    },
    end: () => void keepTrack().then(() => keep("shift_end", here(), undefined)),
    undo: (fact) => void keep("undo", { of: fact.id }, undefined),
    send: () => void sync(),
    again: () => void offerAgain().then(refresh).then(sync),
    update: () => page.waitingWorker?.postMessage("take over"),
  });
}

function sheet(day: Day): HTMLElement[] {
  const card = current();
  const close = button("Back", () => openSheet(""), "");
  if (!gate.isOpen) return [h("h1", {}, "Stop first"), h("p", {}, "What you filled in so far is not kept until you press Keep."), close];
  if (page.sheet === "menu") {
    const offered = OFFERED.filter((name) => card || WITHOUT_CARD.has(name));
    return [h("h1", {}, "Report"), h("div", { class: "grid" }, offered.map((name) => button(SHEETS[name]!.title, () => openSheet(name)))), close];
  }
  const made = SHEETS[page.sheet];
  if (!made) return [close];
  return [
    h("h1", {}, made.title),
    h("p", { class: "small" }, card ? card.road : ""),
    ...made.build(card, day, gate.where, (kind, payload, file) => {
      void keep(kind, payload, card, file).then(() => {
        if (kind === "hours" || kind === "not_done") page.chosen = "";
        draw();
      });
    }),
    close,
  ];
}

function bar(): HTMLElement {
  const waiting = page.facts.filter((each) => each.state === "waiting").length + page.photos.length;
  const hands = gate.isMoving
    ? h("p", { class: "hands moving", role: "status" }, "Moving: hands off. This page only shows.")
    : gate.isOpen
      ? h("p", { class: "hands open", role: "status" }, "Stopped, blade down, brake set")
      : button("Stopped? Blade down, brake set: touch here", () => void gate.open(), "gate");
  return h(
    "header",
    { class: "bar" },
    h("p", { class: "line" }, h("span", {}, `${page.day?.machine.name ?? "crossfall"}${page.day?.is_invented ? " (invented)" : ""}`), h("span", { id: "waiting", "data-waiting": waiting }, waiting > 0 ? `${waiting} to send` : lineShort())),
    page.paired && page.day ? hands : null,
    page.day && page.fullness !== undefined && page.fullness > page.day.limits.storage_share ? h("p", { class: "line small" }, "Storage on this phone is nearly full") : null,
    page.message ? h("p", { class: page.isAlarm ? "said alarm" : "said", role: "status" }, page.message) : null,
  );
}

function tabs(): HTMLElement {
  return h("nav", { class: "tabs", "aria-label": "Views" }, TABS.map(([name, text]) => button(text, () => go(name), name === page.tab ? "here" : "", { "aria-current": name === page.tab ? "page" : undefined })));
}

function pairingPage(): HTMLElement[] {
  const code = h("input", { type: "text", id: "code", maxlength: 20, autocomplete: "off", autocapitalize: "characters", spellcheck: "false", "aria-label": "Pairing code" }) as HTMLInputElement;
  const waiting = page.facts.filter((each) => each.state === "waiting").length;
  return [
    h("h1", {}, "Pair this phone"),
    h("p", {}, "The office shows a square code to photograph, or ten letters to type in here. It works once."),
    waiting > 0 ? h("p", { class: "care" }, `${waiting} facts wait on this phone. They are kept, and sent after pairing.`) : null,
    link.told ? h("p", { class: "care" }, link.told) : null,
    h("label", { class: "field" }, h("span", { class: "label" }, "Code"), code),
    button("Pair", () => void pairing(code.value), "main big"),
  ].filter((each): each is HTMLElement => each !== null);
}

async function pairing(code: string): Promise<void> {
  try {
    page.paired = await pairWith(code);
    say(`Paired with ${page.paired.machine.name}`, false);
    gate.follow(moved);
    await sync();
  } catch (error) {
    say(error instanceof Error && error.name !== "TypeError" ? error.message : "No answer from the office.", true);
  }
  await refresh();
}

async function register(): Promise<void> {
  if (!("serviceWorker" in navigator)) return say("This browser keeps no page for offline; open it over https.", true);
  const registration = await navigator.serviceWorker.register("/cab/worker.js", { scope: "/cab/" });
  const look = (): void => {
    page.waitingWorker = navigator.serviceWorker.controller ? (registration.waiting ?? undefined) : undefined;
    draw();
  };
  registration.addEventListener("updatefound", () => registration.installing?.addEventListener("statechange", look));
  let hadOne = navigator.serviceWorker.controller !== null;
  navigator.serviceWorker.addEventListener("controllerchange", () => {
    // The first worker takes an open page over without a stir; a newer one was asked for
    if (hadOne) location.reload();
    hadOne = true;
  });
  look();
}

/** Quarter hours since a moment, half an hour at least. */
function hoursSince(at: string | undefined): number {
  if (at === undefined) return 1;
  const hours = (Date.now() - new Date(at).getTime()) / 3_600_000;
  return Math.min(12, Math.max(0.5, Math.round(hours * 4) / 4));
}

function go(tab: typeof page.tab): void {
  page.tab = tab;
  page.message = "";
  draw();
}

function openSheet(name: string): void {
  page.sheet = name;
  if (name === "hours") suggested.hours = hoursSince(page.told.find((each) => each.card === current()?.id && each.kind !== "track")?.at);
  page.message = "";
  draw();
  document.getElementById("sheet")?.scrollTo(0, 0);
}

let silence: number | undefined;

function say(text: string, isAlarm: boolean): void {
  page.message = text;
  page.isAlarm = isAlarm;
  clearTimeout(silence);
  // What went well need not stay; what went wrong stays until the next touch
  if (!isAlarm) silence = window.setTimeout(() => ((page.message = ""), draw()), SAID_MS);
  draw();
}

function here(): Record<string, unknown> {
  const where = gate.where;
  return where && Date.now() - where.at < 300_000 ? { lon: round(where.lon), lat: round(where.lat) } : {};
}

function round(degrees: number): number {
  return Math.round(degrees * 1e6) / 1e6;
}

function lineShort(): string {
  return { unknown: "", offline: "no signal", sending: "sending", clear: "all sent", unpaired: "not paired", trouble: "trouble" }[link.line];
}

function lineWords(): string {
  return {
    unknown: "Not asked yet.",
    offline: "No answer from the office just now; it is asked again by itself.",
    sending: "Sending.",
    clear: "The office answers.",
    unpaired: "This phone is not paired with the office any more.",
    trouble: link.told,
  }[link.line];
}

void start();
