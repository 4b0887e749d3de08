// The map, the list beside it and the chosen road's panel, kept in step.
import { Atlas } from "../lib/atlas";
import { ask, askPart, find, need } from "../lib/page";

const map = need<HTMLElement>("#map");
const list = need<HTMLUListElement>("#road-list");
const search = need<HTMLInputElement>("#find");
const found = need<HTMLElement>("#found");
const panel = need<HTMLElement>("#road-panel");
const themes = Array.from(document.querySelectorAll<HTMLInputElement>("input[name=theme]"));
let items = Array.from(list.children) as HTMLLIElement[];
const isLarge = list.dataset["large"] === "1";
const allFound = found.textContent ?? "";

let atlas: Atlas | null = null;
let waiting: AbortController | null = null;

function chosenTheme(): string {
  return themes.find((each) => each.checked)?.value ?? "need";
}

function link(item: Element | null | undefined): HTMLAnchorElement | null {
  return item ? find<HTMLAnchorElement>("a", item) : null;
}

function makeReachable(item: HTMLLIElement): void {
  for (const each of items) link(each)?.setAttribute("tabindex", each === item ? "0" : "-1");
}

function addressOf(id: string): string {
  return `/roads/${encodeURIComponent(id)}/`;
}

async function choose(id: string, bring: boolean): Promise<void> {
  const item = items.find((each) => each.dataset["id"] === id);
  for (const each of items) link(each)?.removeAttribute("aria-current");
  if (item !== undefined) {
    link(item)?.setAttribute("aria-current", "true");
    makeReachable(item);
  }
  atlas?.mark(id, bring, item?.dataset["box"]);
  waiting?.abort();
  waiting = new AbortController();
  const part = await askPart(addressOf(id), waiting.signal);
  const close = document.createElement("button");
  close.type = "button";
  close.className = "button quiet close";
  close.textContent = "Back to the list";
  close.addEventListener("click", () => leave(item));
  panel.replaceChildren(close, part);
  panel.dataset["id"] = id;
  panel.hidden = false;
  list.hidden = true;
  found.hidden = true;
  panel.scrollTop = 0;
  panel.focus({ preventScroll: true });
}

function leave(item: HTMLLIElement | undefined): void {
  panel.hidden = true;
  list.hidden = false;
  found.hidden = false;
  atlas?.mark("", false);
  (link(item) ?? search).focus();
}

function chooseSafely(id: string, bring: boolean): void {
  choose(id, bring).catch((error: unknown) => {
    if (!(error instanceof DOMException && error.name === "AbortError")) {
      location.assign(addressOf(id));
    }
  });
}

/** In a large network the server looks; what it finds takes the place of the list. */
let asking: AbortController | null = null;
async function look(): Promise<void> {
  asking?.abort();
  asking = new AbortController();
  const answer = await ask(`/roads/?q=${encodeURIComponent(search.value)}`, asking.signal);
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  list.replaceChildren(...Array.from(page.querySelectorAll("#road-list > li")));
  items = Array.from(list.children) as HTMLLIElement[];
  found.textContent = page.querySelector("#found")?.textContent ?? "";
  if (!panel.hidden) leave(undefined), search.focus();
}

let typing: ReturnType<typeof setTimeout> | undefined;
function narrow(): void {
  if (isLarge) {
    clearTimeout(typing);
    typing = setTimeout(() => void look().catch(() => undefined), 200);
    return;
  }
  const words = search.value.toLowerCase().split(/\s+/).filter(Boolean);
  const shown: HTMLLIElement[] = [];
  for (const item of items) {
    const fits = words.every((each) => (item.dataset["name"] ?? "").includes(each));
    item.hidden = !fits;
    if (fits) shown.push(item);
  }
  if (shown[0] !== undefined) makeReachable(shown[0]);
  if (!panel.hidden && words.length > 0) leave(undefined), search.focus();
  const ids = shown.map((each) => each.dataset["id"] ?? "");
  found.textContent = words.length === 0 ? allFound : `${shown.length} of ${items.length} stretches`;
  atlas?.narrow(words.length === 0 ? null : ids);
}

function move(event: KeyboardEvent): void {
  const shown = items.filter((each) => !each.hidden);
  const at = shown.findIndex((each) => each.contains(document.activeElement));
  const steps: Record<string, number> = {
    ArrowDown: at + 1,
    ArrowUp: at - 1,
    PageDown: at + 10,
    PageUp: at - 10,
    Home: 0,
    End: shown.length - 1,
  };
  const to = steps[event.key];
  if (to === undefined || shown.length === 0) return;
  event.preventDefault();
  const item = shown[Math.max(0, Math.min(shown.length - 1, to))];
  if (item === undefined) return;
  makeReachable(item);
  link(item)?.focus();
  atlas?.mark(item.dataset["id"] ?? "", false);
}

list.addEventListener("click", (event) => {
  const item = event.target instanceof Element ? event.target.closest<HTMLLIElement>("li") : null;
  if (item === null || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  chooseSafely(item.dataset["id"] ?? "", true);
});
list.addEventListener("keydown", move);
search.addEventListener("input", narrow);
search.addEventListener("keydown", (event) => {
  if (event.key === "ArrowDown") move(event);
});
search.form?.addEventListener("submit", (event) => {
  event.preventDefault();
  link(items.find((each) => !each.hidden))?.focus();
});
panel.addEventListener("keydown", (event) => {
  if (event.key === "Escape") leave(items.find((each) => each.dataset["id"] === panel.dataset["id"]));
});
for (const each of themes) {
  each.addEventListener("change", () => {
    const theme = chosenTheme();
    for (const legend of document.querySelectorAll<HTMLElement>("[data-legend]")) {
      legend.hidden = legend.dataset["legend"] !== theme;
    }
    atlas?.colourBy(theme);
  });
}

Atlas.open(map, chosenTheme())
  .then((opened) => {
    atlas = opened;
    atlas.onChoose((id) => chooseSafely(id, false));
    if (search.value !== "") narrow();
    const wanted = new URLSearchParams(location.search).get("road");
    if (wanted) chooseSafely(wanted, true);
    map.dataset["roads"] = String(atlas.nRoads);
    map.dataset["state"] = "ready";
  })
  .catch((error: unknown) => {
    const trouble = need<HTMLElement>("#map-trouble");
    trouble.textContent = `The map cannot be drawn in this browser (${String(error)}). The list of roads works without it.`;
    trouble.hidden = false;
    map.dataset["state"] = "failed";
  });
