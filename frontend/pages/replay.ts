// Move through a shift: the ring shows where the plan has the machine, dots up to then stand out.
import { find } from "../lib/page";

const slide = find<HTMLInputElement>("#replay-slide");
const EDGE = 30;
const AXIS = 860;

function show(minute: number): void {
  if (!slide) return;
  const [first, last] = [Number(slide.min), Number(slide.max)];
  const x = EDGE + ((minute - first) / Math.max(last - first, 1)) * (AXIS - 2 * EDGE);
  const now = find("#replay-now");
  now?.setAttribute("x1", x.toFixed(1));
  now?.setAttribute("x2", x.toFixed(1));
  const clock = find("#replay-clock");
  const words = `${String(Math.floor(minute / 60)).padStart(2, "0")}:${String(Math.floor(minute % 60)).padStart(2, "0")}`;
  if (clock) clock.textContent = words;
  slide.setAttribute("aria-valuetext", words);
  for (const each of document.querySelectorAll<SVGElement>("[data-minute]")) {
    each.setAttribute("opacity", Number(each.dataset["minute"]) <= minute ? "1" : "0.25");
  }
  const ring = find("#replay-planned");
  let place: DOMPoint | undefined;
  for (const path of document.querySelectorAll<SVGPathElement>("#replay-map [data-start]")) {
    const [start, end] = [Number(path.dataset["start"]), Number(path.dataset["end"])];
    if (minute < start) continue;
    const share = Math.min(1, (minute - start) / Math.max(end - start, 0.1));
    if (path.getAttribute("d")) place = path.getPointAtLength(path.getTotalLength() * share);
  }
  ring?.setAttribute("cx", String(place?.x ?? -20));
  ring?.setAttribute("cy", String(place?.y ?? -20));
}

if (slide) {
  slide.style.width = "100%";
  slide.addEventListener("input", () => show(Number(slide.value)));
  show(Number(slide.max));
  slide.value = slide.max;
}
