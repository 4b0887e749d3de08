// The board: work that is moved by hand, and what lies behind a chip shown over it.
import { openBoard } from "../lib/board";
import { askPart, find } from "../lib/page";

openBoard();

const dialog = find<HTMLDialogElement>("#dialog");

async function show(link: HTMLAnchorElement, into: HTMLDialogElement): Promise<void> {
  const part = await askPart(link.href);
  const close = document.createElement("button");
  close.type = "button";
  close.className = "button";
  close.textContent = "Close";
  close.addEventListener("click", () => into.close());
  const foot = document.createElement("p");
  foot.className = "buttons";
  const whole = document.createElement("a");
  whole.href = link.href;
  whole.textContent = "Open as a page to print";
  foot.append(close, whole);
  into.replaceChildren(part, foot);
  into.showModal();
  into.scrollTop = 0;
}

if (dialog !== null) {
  document.addEventListener("click", (event) => {
    const target = event.target instanceof Element ? event.target : null;
    const link = target?.closest<HTMLAnchorElement>("a[data-dialog]");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    show(link, dialog).catch(() => location.assign(link.href));
  });
  dialog.addEventListener("click", (event) => {
    if (event.target === dialog) dialog.close();
  });
}
