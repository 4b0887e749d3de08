// Small words that every page script uses.

export function find<T extends Element>(selector: string, within: ParentNode = document): T | null {
  return within.querySelector<T>(selector);
}

export function need<T extends Element>(selector: string, within: ParentNode = document): T {
  const found = find<T>(selector, within);
  if (found === null) throw new Error(`the page has no ${selector}`);
  return found;
}

/** Fetch from our own server; a lost sign-in leads to the door instead of into the page. */
export async function ask(url: string, signal?: AbortSignal): Promise<Response> {
  const response = await fetch(url, {
    credentials: "same-origin",
    headers: { "X-Requested-With": "fetch" },
    ...(signal ? { signal } : {}),
  });
  if (response.redirected) {
    location.assign(response.url);
    throw new Error("signed out");
  }
  if (!response.ok) throw new Error(`the server answered ${response.status}`);
  return response;
}

/** The part of another page that is meant to be shown inside this one. */
export async function askPart(url: string, signal?: AbortSignal): Promise<DocumentFragment> {
  const text = await (await ask(url, signal)).text();
  const page = new DOMParser().parseFromString(text, "text/html");
  const part = page.querySelector("#part");
  const fragment = document.createDocumentFragment();
  if (part !== null) fragment.append(...Array.from(part.childNodes).map((node) => document.adoptNode(node)));
  return fragment;
}

/** A colour of the style sheet by its variable's name. */
export function colour(name: string): string {
  return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
}
