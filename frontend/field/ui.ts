// A few words to build the page with; text is always text, never markup.

type Child = Node | string | number | null | undefined | false;
type Attributes = Record<string, string | number | boolean | ((event: Event) => void) | undefined>;

export function h(name: string, attributes: Attributes = {}, ...children: (Child | Child[])[]): HTMLElement {
  const made = document.createElement(name);
  dress(made, attributes);
  made.append(...children.flat().filter((each): each is Node | string | number => each !== null && each !== undefined && each !== false).map((each) => (each instanceof Node ? each : String(each))));
  return made;
}

export function svg(name: string, attributes: Attributes = {}, ...children: SVGElement[]): SVGElement {
  const made = document.createElementNS("http://www.w3.org/2000/svg", name);
  dress(made, attributes);
  made.append(...children);
  return made;
}

export function button(text: string, press: () => void, kind = "", more: Attributes = {}): HTMLElement {
  return h("button", { type: "button", class: `touch ${kind}`.trim(), click: () => press(), ...more }, text);
}

function dress(made: Element, attributes: Attributes): void {
  for (const [key, value] of Object.entries(attributes)) {
    if (value === undefined || value === false) continue;
    if (typeof value === "function") made.addEventListener(key, value);
    else made.setAttribute(key, value === true ? "" : String(value));
  }
}

export function clock(iso: string): string {
  const at = new Date(iso);
  return `${String(at.getHours()).padStart(2, "0")}:${String(at.getMinutes()).padStart(2, "0")}`;
}
