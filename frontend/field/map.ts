// A small map of lines: today's jobs, the roads around, and where the phone is.
import type { Where } from "./gate";
import { svg } from "./ui";
import type { Card, Point } from "./words";

const [WIDE, HIGH] = [360, 300];
const EDGE = 26;

export function drawMap(cards: Card[], current: Card | undefined, where: Where | undefined, isClose: boolean): SVGElement {
  const shown = isClose && current ? [current] : cards;
  const inFrame = shown.flatMap((card) => card.line);
  const withMe: Point[] = where ? [[where.lon, where.lat]] : [];
  const place = fit(inFrame.length > 0 ? [...inFrame, ...(isClose ? [] : withMe)] : withMe);
  const path = (line: Point[]): string => line.map((each, i) => `${i === 0 ? "M" : "L"}${place(each).map((n) => n.toFixed(1)).join(" ")}`).join("");
  const parts: SVGElement[] = [];
  for (const card of cards) {
    for (const line of card.water) parts.push(svg("path", { class: "water", d: path(line) }));
    for (const line of card.nearby) parts.push(svg("path", { class: "road", d: path(line) }));
  }
  for (const card of cards) {
    parts.push(svg("path", { class: card === current ? "job now" : "job", d: path(card.line) }));
  }
  for (const [i, card] of cards.entries()) {
    const [x, y] = place(middle(card.line));
    parts.push(svg("circle", { class: "tag", cx: x, cy: y, r: 13 }));
    const label = svg("text", { class: "tag-text", x, y: y + 6, "text-anchor": "middle" });
    label.textContent = String(i + 1);
    parts.push(label);
  }
  for (const mark of current?.marks ?? []) {
    const [x, y] = place([mark.lon, mark.lat]);
    parts.push(svg("rect", { class: "mark", x: x - 4, y: y - 4, width: 8, height: 8 }));
  }
  if (where) {
    const [x, y] = place([where.lon, where.lat]);
    parts.push(svg("circle", { class: "me-ring", cx: x, cy: y, r: 17 }), svg("circle", { class: "me", cx: x, cy: y, r: 9 }));
  }
  const label = `Map of ${cards.length} jobs${where ? " and your position" : ""}; north is up`;
  return svg("svg", { class: "map", viewBox: `0 0 ${WIDE} ${HIGH}`, role: "img", "aria-label": label }, ...parts);
}

/** Half way along a line, as drawn. */
function middle(line: Point[]): Point {
  const steps = line.slice(1).map((each, i) => Math.hypot(each[0] - line[i]![0], each[1] - line[i]![1]));
  let rest = steps.reduce((sum, each) => sum + each, 0) / 2;
  for (const [i, step] of steps.entries()) {
    const [a, b] = [line[i]!, line[i + 1]!];
    if (rest <= step && step > 0) return [a[0] + ((b[0] - a[0]) * rest) / step, a[1] + ((b[1] - a[1]) * rest) / step];
    rest -= step;
  }
  return line[0] ?? [0, 0];
}

function fit(points: Point[]): (each: Point) => [number, number] {
  if (points.length === 0) return () => [WIDE / 2, HIGH / 2];
  const lons = points.map((each) => each[0]);
  const lats = points.map((each) => each[1]);
  const [west, east, south, north] = [Math.min(...lons), Math.max(...lons), Math.min(...lats), Math.max(...lats)];
  const narrow = Math.cos((((south + north) / 2) * Math.PI) / 180);
  const across = Math.max((east - west) * narrow, 1e-4);
  const up = Math.max(north - south, 1e-4);
  const scale = Math.min((WIDE - 2 * EDGE) / across, (HIGH - 2 * EDGE) / up);
  return ([lon, lat]) => [WIDE / 2 + (lon - (west + east) / 2) * narrow * scale, HIGH / 2 - (lat - (south + north) / 2) * scale];
}
