// Move work on the board by pointer or by keys. A drop is the same form that the page has without a
// script; the answer comes back as a page, and the board in it takes the place of this one.
import { find, need } from "./page";

interface Held {
  chip: HTMLElement;
  cell: HTMLElement;
  ghost: HTMLElement | null;
}

const NEAR_PX = 6;

export class Board {
  private held: Held | null = null;
  private isWaiting = false;

  constructor(private readonly place: HTMLElement) {
    this.addGrips();
    place.addEventListener("pointerdown", (event) => this.down(event));
    place.addEventListener("keydown", (event) => this.key(event));
  }

  /** A handle on every chip that may move: for the pointer, and a button for the keyboard. */
  private addGrips(): void {
    for (const chip of this.place.querySelectorAll<HTMLElement>(".chip[data-grip]")) {
      if (find(".grip", chip) !== null) continue;
      const grip = document.createElement("button");
      grip.type = "button";
      grip.className = "grip";
      grip.setAttribute("aria-label", `Move ${chip.dataset["grip"] ?? "this"}: press Enter, then the arrow keys`);
      chip.prepend(grip);
    }
  }

  private cells(): HTMLElement[] {
    return [...this.place.querySelectorAll<HTMLElement>("td[data-machine]")];
  }

  private down(event: PointerEvent): void {
    const target = event.target instanceof Element ? event.target : null;
    const grip = target?.closest<HTMLElement>(".grip");
    const chip = grip?.closest<HTMLElement>(".chip") ?? null;
    const cell = chip?.closest<HTMLElement>("td[data-machine]") ?? null;
    if (!grip || chip === null || cell === null || this.isWaiting || event.button !== 0) return;
    event.preventDefault();
    grip.focus();
    const from = { x: event.clientX, y: event.clientY };
    const moved = (move: PointerEvent): void => {
      const far = Math.hypot(move.clientX - from.x, move.clientY - from.y) > NEAR_PX;
      if (this.held === null && !far) return;
      if (this.held === null) this.held = { chip, cell, ghost: this.ghostOf(chip) };
      const ghost = this.held.ghost;
      if (ghost !== null) ghost.style.transform = `translate(${move.clientX + 8}px, ${move.clientY + 8}px)`;
      const under = document.elementFromPoint(move.clientX, move.clientY);
      this.aim(under?.closest<HTMLElement>("td[data-machine]") ?? cell);
      at = { x: move.clientX, y: move.clientY };
    };
    let at = from;
    const scroll = setInterval(() => {
      if (this.held !== null) this.scrollNear(at.x, at.y);
    }, 30);
    const done = (end: PointerEvent): void => {
      clearInterval(scroll);
      removeEventListener("pointermove", moved);
      removeEventListener("pointerup", done);
      removeEventListener("pointercancel", done);
      if (this.held === null) return;
      if (end.type === "pointercancel") this.letGo();
      else void this.drop();
    };
    addEventListener("pointermove", moved);
    addEventListener("pointerup", done);
    addEventListener("pointercancel", done);
  }

  private key(event: KeyboardEvent): void {
    const target = event.target instanceof HTMLElement ? event.target : null;
    const chip = target?.closest<HTMLElement>(".grip")?.closest<HTMLElement>(".chip") ?? null;
    if (chip === null || this.isWaiting) return;
    const isGo = event.key === "Enter" || event.key === " ";
    if (this.held === null) {
      const cell = chip.closest<HTMLElement>("td[data-machine]");
      if (!isGo || cell === null) return;
      event.preventDefault();
      this.held = { chip, cell, ghost: null };
      this.aim(cell);
      this.say("Picked up. Arrow keys choose machine and day, Enter puts it down, Escape leaves it.");
      return;
    }
    const step = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] }[event.key];
    if (step === undefined && !isGo && event.key !== "Escape" && event.key !== "Tab") return;
    event.preventDefault();
    if (isGo) void this.drop();
    else if (step === undefined) this.letGo("Left where it was.");
    else this.stride(step[0] ?? 0, step[1] ?? 0);
  }

  private stride(rows: number, days: number): void {
    if (this.held === null) return;
    const cells = this.cells();
    const width = new Set(cells.map((each) => each.dataset["iso"])).size;
    const at = cells.indexOf(this.held.cell);
    const day = Math.min(width - 1, Math.max(0, (at % width) + days));
    const row = Math.min(cells.length / width - 1, Math.max(0, Math.floor(at / width) + rows));
    const next = cells[row * width + day];
    if (next === undefined) return;
    this.aim(next);
    next.scrollIntoView({ block: "nearest", inline: "nearest" });
    this.say(`${next.dataset["name"] ?? ""}, ${next.dataset["day"] ?? ""}`);
  }

  private aim(cell: HTMLElement): void {
    if (this.held === null) return;
    for (const each of this.place.querySelectorAll(".is-aim")) each.classList.remove("is-aim");
    cell.classList.add("is-aim");
    this.held.chip.classList.add("is-held");
    this.held.cell = cell;
  }

  private letGo(words = ""): void {
    if (this.held === null) return;
    this.held.ghost?.remove();
    this.held.chip.classList.remove("is-held");
    this.held = null;
    for (const each of this.place.querySelectorAll(".is-aim")) each.classList.remove("is-aim");
    if (words) this.say(words);
  }

  private async drop(): Promise<void> {
    if (this.held === null) return;
    const { chip, cell } = this.held;
    const stage = chip.dataset["stage"] ?? "";
    if (chip.closest("td") === cell) {
      this.letGo("It stays where it is.");
      return;
    }
    this.letGo();
    const form = need<HTMLFormElement>("#wish-form");
    const given = new FormData(form);
    given.set("stage", stage);
    given.set("machine", cell.dataset["machine"] ?? "");
    given.set("day", cell.dataset["iso"] ?? "");
    chip.classList.add("is-going");
    cell.classList.add("is-aim");
    await this.send(form.action, given, stage);
  }

  /** Send a step and show the board that comes back. */
  async send(url: string, given: FormData, stage: string): Promise<void> {
    this.isWaiting = true;
    this.place.setAttribute("aria-busy", "true");
    this.say("Working out what it costs.");
    try {
      const answer = await fetch(url, { method: "POST", body: given, credentials: "same-origin" });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const part = page.querySelector("#plan-part");
      if (part === null) {
        // Somebody was faster, or the sign-in is over: show that page as it came
        const sheet = page.querySelector("#sheet");
        if (sheet === null) location.reload();
        else need("#sheet").replaceWith(document.adoptNode(sheet));
        return;
      }
      this.place.replaceChildren(...Array.from(part.childNodes).map((node) => document.adoptNode(node)));
      this.showWords(page);
      this.addGrips();
      const told = find<HTMLElement>("[role=status]", this.place)?.textContent ?? "";
      this.say(told);
      find<HTMLElement>(`.chip[data-stage="${CSS.escape(stage)}"] .grip`, this.place)?.focus();
    } catch {
      location.reload();
    } finally {
      this.isWaiting = false;
      this.place.removeAttribute("aria-busy");
    }
  }

  /** What the server had to say about it stands above the sheet, as on a page loaded whole. */
  private showWords(page: Document): void {
    const sheet = need<HTMLElement>("#sheet");
    for (const old of sheet.querySelectorAll(":scope > .care")) old.remove();
    const told = [...page.querySelectorAll("#sheet > .care")].map((each) => document.adoptNode(each));
    sheet.prepend(...told);
    if (told.length > 0) sheet.scrollIntoView();
  }

  private ghostOf(chip: HTMLElement): HTMLElement {
    const ghost = document.createElement("div");
    ghost.className = "chip-ghost";
    ghost.textContent = chip.dataset["grip"] ?? "";
    document.body.append(ghost);
    return ghost;
  }

  private scrollNear(x: number, y: number): void {
    if (y > innerHeight - 60) scrollBy(0, 16);
    if (y < 60) scrollBy(0, -16);
    const frame = find<HTMLElement>(".sideways:has(.board)", this.place);
    if (frame === null) return;
    const box = frame.getBoundingClientRect();
    if (x > box.right - 40) frame.scrollLeft += 14;
    if (x < box.left + 40) frame.scrollLeft -= 14;
  }

  private say(words: string): void {
    need<HTMLElement>("#board-voice").textContent = words;
  }
}

export function openBoard(): Board | null {
  const place = find<HTMLElement>("#plan-part");
  return place === null ? null : new Board(place);
}
