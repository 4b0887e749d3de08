// The Years page: drag the line of money, or move it by keys, and charts, words, map and table follow.
import type { Chart, Spec } from "../lib/chart";
import { ask, find, need } from "../lib/page";
import { followRun } from "../lib/run";

interface Level {
  share: number;
  money: string;
  figures: { label: string; value: string; note: string }[];
  sentences: string[];
  rows: string[][];
  due: Record<string, number[]>;
}

interface Study {
  levels: Level[];
  charts: Record<string, Spec>;
  first_year: number;
}

const LIVE = ["money", "gravel", "roughness", "thin", "pits", "worth"];
const charts = new Map<string, Chart>();
let pending = 0;

function level(study: Study): Level {
  const slide = need<HTMLInputElement>("#money");
  return study.levels[Number(slide.value)] ?? (study.levels[0] as Level);
}

function words(study: Study): void {
  const shown = level(study);
  const slide = need<HTMLInputElement>("#money");
  slide.setAttribute("aria-valuetext", shown.money);
  need("#money-out").textContent = shown.money;
  const values = document.querySelectorAll<HTMLElement>("[data-figure]");
  for (const [index, place] of values.entries()) {
    const each = shown.figures[index];
    if (each === undefined) continue;
    need("[data-value]", place).textContent = each.value;
    need("small", place).textContent = each.note;
  }
  const said = need("#said");
  said.replaceChildren(
    ...shown.sentences.map((text) => {
      const line = document.createElement("p");
      line.textContent = text;
      return line;
    }),
  );
  const body = need("#by-year tbody");
  body.replaceChildren(
    ...shown.rows.map((cells) => {
      const row = document.createElement("tr");
      cells.forEach((text, index) => {
        const cell = document.createElement(index === 0 ? "th" : "td");
        if (index === 0) cell.setAttribute("scope", "row");
        else cell.className = "number";
        cell.textContent = text;
        row.append(cell);
      });
      return row;
    }),
  );
  for (const link of document.querySelectorAll<HTMLAnchorElement>("a[data-share]")) {
    const url = new URL(link.href);
    url.searchParams.set("share", String(shown.share));
    link.href = url.toString();
  }
  for (const field of document.querySelectorAll<HTMLInputElement>("input[name=share]")) field.value = String(shown.share);
}

function map(study: Study): void {
  const slide = need<HTMLInputElement>("#year");
  const year = Number(slide.value);
  const due = level(study).due;
  let n = 0;
  need("#year-out").textContent = String(year);
  for (const road of document.querySelectorAll<SVGPathElement>("#years-map [data-road]")) {
    const years = due[road.dataset["road"] ?? ""] ?? [];
    const name = years.includes(year) ? "y-due" : years.some((each) => each < year) ? "y-before" : years.length > 0 ? "y-later" : "y-never";
    if (name === "y-due") n += 1;
    road.setAttribute("class", name);
  }
  slide.setAttribute("aria-valuetext", `${year}: ${n} stretches`);
  need("#year-count").textContent = `${n} stretch${n === 1 ? "" : "es"}`;
}

function redraw(study: Study): void {
  const share = level(study).share;
  for (const chart of charts.values()) void chart.signal("share", share).runAsync();
}

function show(study: Study): void {
  words(study);
  map(study);
  cancelAnimationFrame(pending);
  pending = requestAnimationFrame(() => redraw(study));
}

/** The line in the curve is dragged to the nearest level. */
function makeDraggable(study: Study, place: HTMLElement, chart: Chart): void {
  const slide = need<HTMLInputElement>("#money");
  const rows = (chart.data("source_0") as { share: number; money: number }[]) ?? [];
  const at = (event: PointerEvent): void => {
    const box = place.getBoundingClientRect();
    const scale = chart.scale("x") as { invert: (x: number) => number };
    const money = scale.invert(event.clientX - box.left - (chart.origin()[0] ?? 0));
    let best = Number(slide.value);
    let least = Infinity;
    for (const row of rows) {
      const index = study.levels.findIndex((each) => each.share === row.share);
      const off = Math.abs(row.money - money);
      if (index >= 0 && off < least) [best, least] = [index, off];
    }
    if (String(best) === slide.value) return;
    slide.value = String(best);
    show(study);
  };
  place.addEventListener("pointerdown", (event) => {
    place.setPointerCapture(event.pointerId);
    at(event);
  });
  place.addEventListener("pointermove", (event) => {
    if (place.hasPointerCapture(event.pointerId)) at(event);
  });
}

async function start(): Promise<void> {
  followRun();
  const sheet = find<HTMLElement>("[data-study]");
  if (sheet === null) return;
  const study = (await (await ask(sheet.dataset["study"] ?? "")).json()) as Study;
  need<HTMLInputElement>("#money").addEventListener("input", () => show(study));
  need<HTMLInputElement>("#year").addEventListener("input", () => map(study));
  for (const button of document.querySelectorAll<HTMLElement>(".without-script")) button.hidden = true;
  show(study);
  const { drawChart } = await import("../lib/chart");
  for (const name of ["curve", ...LIVE]) {
    const place = find<HTMLElement>(`#chart-${name}`);
    const spec = study.charts[name];
    if (place === null || spec === undefined) continue;
    const chart = await drawChart(place, spec);
    charts.set(name, chart);
    if (name === "curve") makeDraggable(study, place, chart);
  }
  redraw(study);
}

void start();
