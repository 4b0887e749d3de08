// The service worker: keeps the page itself, and nothing else. A release has a cache of its own;
// what the office answers is never kept here, for facts and cards have their place in the page.
interface Scope {
  RELEASE: string;
  SHELL: string[];
  PAGE: string;
  API: string;
  skipWaiting(): Promise<void>;
  clients: { claim(): Promise<void> };
  addEventListener(kind: string, listener: (event: WorkEvent) => void): void;
}

interface WorkEvent {
  request: Request;
  data: unknown;
  waitUntil(work: Promise<unknown>): void;
  respondWith(answer: Promise<Response>): void;
}

const scope = self as unknown as Scope;
const PREFIX = "crossfall-cab-";
const CACHE = PREFIX + scope.RELEASE;

scope.addEventListener("install", (event) => {
  // All or nothing: a shell with a hole in it would not start in the field
  event.waitUntil(caches.open(CACHE).then((cache) => cache.addAll(scope.SHELL.map((url) => new Request(url, { cache: "reload" })))));
});

scope.addEventListener("activate", (event) => {
  event.waitUntil(
    caches
      .keys()
      .then((names) => Promise.all(names.filter((name) => name.startsWith(PREFIX) && name !== CACHE).map((name) => caches.delete(name))))
      .then(() => scope.clients.claim()),
  );
});

// The page asks for it when the operator has stopped and said so
scope.addEventListener("message", (event) => {
  if (event.data === "take over") void scope.skipWaiting();
});

scope.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== location.origin || url.pathname.startsWith(scope.API)) return;
  if (event.request.mode === "navigate" && url.pathname === scope.PAGE) {
    event.respondWith(kept(scope.PAGE, event.request));
  } else if (scope.SHELL.includes(url.pathname)) {
    event.respondWith(kept(url.pathname, event.request));
  }
});

async function kept(name: string, request: Request): Promise<Response> {
  const cache = await caches.open(CACHE);
  return (await cache.match(name)) ?? fetch(request);
}
