// Reports from the road: each kind of fact as a few large fields, one sheet at a time.
import { along, type Where } from "./gate";
import { button, h } from "./ui";
import type { Card, Day } from "./words";

export interface Sheet {
  title: string;
  build(card: Card | undefined, day: Day, where: Where | undefined, keep: Keep): HTMLElement[];
}

export type Keep = (kind: string, payload: Record<string, unknown>, file?: File) => void;

type Field = { node: HTMLElement; read: () => unknown };

const SIDES: [string, string][] = [["left", "Left"], ["right", "Right"], ["both", "Both"]];

/** What the phone thinks, for the operator to put right: time since the first fact on the job. */
export const suggested = { hours: 1 };

export const SHEETS: Record<string, Sheet> = {
  felt: {
    title: "Surface felt",
    build: (_card, _day, where, keep) =>
      [["too_wet", "Too wet"], ["just_right", "Just right"], ["dust", "Dust"]].map(([felt, label]) =>
        button(label!, () => keep("felt", { felt, ...place(where) }), "big"),
      ),
  },
  hours: one("Hours on this job", "hours", "Hours, travel left out", () => number(suggested.hours, 0.25, 24, 0.25), (hours) => ({ hours })),
  loads: one("Loads placed", "loads", "Loads", () => number(1, 1, 500, 1), (loads) => ({ loads })),
  stakes: one("Stakes set", "stakes", "Stakes", () => number(1, 1, 2000, 1), (stakes) => ({ stakes })),
  water: {
    title: "Water put down",
    build: (_card, day, _where, keep) => {
      const unit = day.units.litres;
      const litres = number(1000, 0, 500_000, 500);
      return [field(`Water, ${unit.sign}`, litres), button("Keep", () => keep("water", { litres: Number(litres.read()) * unit.factor }), "main big")];
    },
  },
  windrow: {
    title: "Windrow left",
    build: (card, day, _where, keep) => {
      const side = choice(SIDES);
      const [from, to] = [metres(card?.from_m ?? 0, day), metres(card?.to_m ?? 0, day)];
      const inWay = tick("It lies where traffic runs");
      return [
        field("Side, facing up the road", side),
        field(`From, ${day.units.m.sign}`, from),
        field(`To, ${day.units.m.sign}`, to),
        inWay.node,
        h("p", { class: "care" }, "None stays in the travelled way overnight unless marked, low and approved by the foreman."),
        button("Keep", () => {
          const ends = [Number(from.read()), Number(to.read())].map((each) => each * day.units.m.factor).sort((a, b) => a - b);
          keep("windrow", { side: side.read(), from_m: ends[0], to_m: ends[1], is_in_travelled_way: inWay.read() });
        }, "main big"),
      ];
    },
  },
  culvert: {
    title: "Culvert",
    build: (card, _day, where, keep) =>
      [["blocked", "Found blocked"], ["opened", "Cleared, water runs"], ["open", "Left open or dug up"]].map(([state, label]) =>
        button(label!, () => keep("culvert", { state, ...at(card, where) }), state === "open" ? "big alarm" : "big"),
      ),
  },
  soft_spot: noted("Soft spot", "soft_spot"),
  sign_missing: noted("Sign missing or down", "sign_missing", "The office sees it at once, when there is signal. A missing stop sign: call it in by radio now."),
  rock: {
    title: "Oversize rock",
    build: (card, _day, where, keep) => [
      button("In the travelled way", () => keep("rock", { is_in_travelled_way: true, ...at(card, where) }), "big alarm"),
      button("Off to the side", () => keep("rock", { is_in_travelled_way: false, ...at(card, where) }), "big"),
      h("p", { class: "care" }, "Never into a ridge along the shoulder; only where it is approved."),
    ],
  },
  edge: {
    title: "Cutting edge changed",
    build: (_card, day, _where, keep) => {
      const name = text("Which edge", 60);
      const life = number(0, 0, 20_000, 50);
      return [
        h("p", { class: "care" }, "Blade blocked up, engine off, key out, nobody under it."),
        field("Which edge", name),
        field(`Expected to last, ${day.units.km.sign} of passes (0: not known)`, life),
        button("Keep", () => {
          const km = Number(life.read()) * day.units.km.factor / 1000;
          keep("edge", { name: String(name.read()).trim() || "edge", ...(km > 0 ? { life_km: km } : {}) });
        }, "main big"),
      ];
    },
  },
  photo: {
    title: "Photo",
    build: (card, _day, where, keep) => {
      const note = text("Note", 200);
      const pick = h("input", { type: "file", accept: "image/*", capture: "environment", id: "photo-file", class: "file" }) as HTMLInputElement;
      return [
        h("label", { class: "field" }, "Picture", pick),
        field("What it shows", note),
        button("Keep", () => {
          const file = pick.files?.[0];
          if (file) keep("photo", { ...optional("note", note), ...at(card, where) }, file);
        }, "main big"),
      ];
    },
  },
  note: {
    title: "Note",
    build: (_card, day, where, keep) => {
      const note = text("Note", day.limits.note_letters);
      const quick = ["Traffic heavy", "Road wetter than the card says", "Needs gravel", "Fence or mailbox close", "Talked to a resident"];
      return [
        h("div", { class: "pair" }, quick.map((each) => button(each, () => keep("note", { note: each, ...place(where) })))),
        field("Other", note),
        button("Keep", () => {
          const said = String(note.read()).trim();
          if (said) keep("note", { note: said, ...place(where) });
        }, "main big"),
      ];
    },
  },
  remark: {
    title: "Remark for whoever goes on",
    build: (card, day, _where, keep) => {
      const said = text("Remark", Math.min(200, day.limits.note_letters));
      return [
        field("Others see it with the job", said),
        button("Keep", () => {
          const value = String(said.read()).trim();
          if (card && value) keep("edit", { target: `card/${card.id}/remark`, value });
        }, "main big"),
      ];
    },
  },
  n_passes: {
    title: "Takes more or fewer passes",
    build: (card, _day, _where, keep) => {
      const passes = number(card?.passes.length ?? 1, 0, 200, 1);
      return [
        field("Passes the job takes", passes),
        h("p", { class: "care" }, "The card is not changed by it; the office and others on this job see it."),
        button("Keep", () => {
          if (card) keep("edit", { target: `card/${card.id}/n_passes`, value: Math.round(Number(passes.read())) });
        }, "main big"),
      ];
    },
  },
  not_done: {
    title: "Not done, or not all of it",
    build: (card, day, _where, keep) => {
      const reason = choice(Object.entries(day.reasons).map(([key, label]) => [key, label] as [string, string]));
      const to = metres(card?.to_m ?? 0, day);
      const from = metres(card?.from_m ?? 0, day);
      return [
        field("Why", reason),
        field(`Done from, ${day.units.m.sign}`, from),
        field(`Done to, ${day.units.m.sign}`, to),
        button("Keep", () => {
          const ends = [Number(from.read()), Number(to.read())].map((each) => each * day.units.m.factor).sort((a, b) => a - b);
          keep("not_done", { reason: reason.read(), from_m: ends[0], to_m: ends[1] });
        }, "main big"),
      ];
    },
  },
};

/** Which sheets a card offers, in the order of use. */
export const OFFERED = ["felt", "hours", "windrow", "culvert", "loads", "stakes", "water", "soft_spot", "sign_missing", "rock", "photo", "note", "remark", "n_passes", "edge"];
/** Sheets that need no card. */
export const WITHOUT_CARD = new Set(["photo", "note", "edge"]);

function one(title: string, kind: string, label: string, make: () => Field, pack: (value: number) => Record<string, unknown>): Sheet {
  return {
    title,
    build: (_card, _day, _where, keep) => {
      const typed = make();
      return [field(label, typed), button("Keep", () => keep(kind, pack(Number(typed.read()))), "main big")];
    },
  };
}

function noted(title: string, kind: string, care = ""): Sheet {
  return {
    title,
    build: (card, day, where, keep) => {
      const note = text("Note", day.limits.note_letters);
      return [
        care ? h("p", { class: "care" }, care) : null,
        field("Note, if any", note),
        button("Keep", () => keep(kind, { ...optional("note", note), ...at(card, where) }), "main big"),
      ].filter((each): each is HTMLElement => each !== null);
    },
  };
}

function field(label: string, inner: Field): HTMLElement {
  return h("div", { class: "field", role: "group", "aria-label": label }, h("span", { class: "label" }, label), inner.node);
}

function number(start: number, least: number, most: number, step: number): Field {
  const input = h("input", { type: "number", inputmode: "decimal", value: start, min: least, max: most, step: "any", "aria-label": "figure" }) as HTMLInputElement;
  const move = (by: number): void => {
    input.value = String(Math.min(most, Math.max(least, Math.round((Number(input.value || 0) + by) * 100) / 100)));
  };
  const node = h("div", { class: "stepper" }, button("−", () => move(-step), "", { "aria-label": "less" }), input, button("+", () => move(step), "", { "aria-label": "more" }));
  return { node, read: () => Math.min(most, Math.max(least, Number(input.value.replace(",", ".")) || 0)) };
}

function metres(start_m: number, day: Day): Field {
  const unit = day.units.m;
  return number(Math.round(start_m / unit.factor), 0, 1_000_000, unit.factor < 1 ? 50 : 20);
}

function choice(options: [string, string][]): Field {
  let chosen = options[0]?.[0] ?? "";
  const node = h("div", { class: "choice" });
  const draw = (): void => {
    node.replaceChildren(...options.map(([key, label]) => button(label, () => ((chosen = key), draw()), key === chosen ? "chosen" : "", { "aria-pressed": String(key === chosen) })));
  };
  draw();
  return { node, read: () => chosen };
}

function tick(label: string): Field {
  let isOn = false;
  const node = button(label, () => {
    isOn = !isOn;
    node.setAttribute("aria-pressed", String(isOn));
    node.classList.toggle("chosen", isOn);
  }, "", { "aria-pressed": "false" });
  return { node, read: () => isOn };
}

function text(label: string, most: number): Field {
  const input = h("input", { type: "text", maxlength: most, "aria-label": label, autocomplete: "off" }) as HTMLInputElement;
  return { node: input, read: () => input.value };
}

function optional(name: string, from: Field): Record<string, unknown> {
  const said = String(from.read()).trim();
  return said ? { [name]: said } : {};
}

function place(where: Where | undefined): Record<string, unknown> {
  return where ? { lon: round(where.lon), lat: round(where.lat) } : {};
}

/** Where along the card's job the phone is, when it is on it. */
function at(card: Card | undefined, where: Where | undefined): Record<string, unknown> {
  if (!card || !where) return place(where);
  const found = along(card.line, [where.lon, where.lat]);
  if (!found || found.away_m > 60) return place(where);
  const at_m = card.from_m + found.share * (card.to_m - card.from_m);
  return { at_m: Math.round(at_m * 10) / 10, ...place(where) };
}

function round(degrees: number): number {
  return Math.round(degrees * 1e6) / 1e6;
}
