// Regroup the strip at once, and show a road beside it where there is room.
import { askPart, find } from "../lib/page";

const panel = find<HTMLElement>("#panel");
const strip = find<HTMLTableElement>("#strip");
const roomy = matchMedia("(min-width: 80rem)");
let waiting: AbortController | null = null;

function links(): HTMLAnchorElement[] {
  return strip === null ? [] : Array.from(strip.querySelectorAll<HTMLAnchorElement>("a[data-road]"));
}

/** One road is a stop for the tab key; the arrows go on from there. */
function makeReachable(link: HTMLAnchorElement | undefined): void {
  for (const each of links()) each.tabIndex = each === link ? 0 : -1;
}

async function show(link: HTMLAnchorElement, into: HTMLElement): Promise<void> {
  waiting?.abort();
  waiting = new AbortController();
  const part = await askPart(link.href, waiting.signal);
  const close = document.createElement("button");
  close.type = "button";
  close.className = "button quiet";
  close.textContent = "Close";
  close.addEventListener("click", () => leave(into));
  const whole = document.createElement("a");
  whole.href = link.href;
  whole.textContent = "Open as a page";
  const head = document.createElement("p");
  head.className = "buttons";
  head.append(close, whole);
  into.replaceChildren(head, part);
  into.hidden = false;
  into.parentElement?.classList.add("with-panel");
  into.scrollTop = 0;
  for (const each of links()) each.removeAttribute("aria-current");
  link.setAttribute("aria-current", "true");
  into.focus({ preventScroll: true });
}

function leave(from: HTMLElement): void {
  from.hidden = true;
  from.parentElement?.classList.remove("with-panel");
  const link = links().find((each) => each.hasAttribute("aria-current"));
  link?.removeAttribute("aria-current");
  link?.focus();
}

function move(event: KeyboardEvent): void {
  const all = links();
  const at = all.findIndex((each) => each === document.activeElement);
  if (at < 0) return;
  const steps: Record<string, number> = { ArrowDown: at + 1, ArrowUp: at - 1, Home: 0, End: all.length - 1 };
  const to = steps[event.key];
  if (to === undefined) return;
  event.preventDefault();
  const link = all[Math.max(0, Math.min(all.length - 1, to))];
  makeReachable(link);
  link?.focus();
}

if (strip !== null && panel !== null) {
  makeReachable(links()[0]);
  strip.addEventListener("keydown", move);
  strip.addEventListener("click", (event) => {
    const target = event.target instanceof Element ? event.target : null;
    const link = target?.closest<HTMLAnchorElement>("a[data-road]");
    if (!link || !roomy.matches || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    makeReachable(link);
    show(link, panel).catch((error: unknown) => {
      if (!(error instanceof DOMException && error.name === "AbortError")) location.assign(link.href);
    });
  });
  panel.addEventListener("keydown", (event) => {
    if (event.key === "Escape") leave(panel);
  });
}

for (const each of document.querySelectorAll<HTMLInputElement>(".strip-tools input[type=radio]")) {
  each.addEventListener("change", () => each.form?.requestSubmit());
}
