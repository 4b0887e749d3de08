// Sending: facts first, in small batches, then photos in parts, then the day's cards anew. Whether
// the phone believes to be online says little; what counts is whether the office answers.
import { allFacts, dropDay, forget, fullness, hear, look, photosToSend, recall, remember, settlePhoto } from "./store";
import type { Answer, Day, Fact, Paired, Reply } from "./words";

export type Line = "unknown" | "offline" | "sending" | "clear" | "unpaired" | "trouble";

const API = "/cab/api/";
const PROTOCOL = 1;
const PATIENCE_MS = 20_000;

export const link: { line: Line; told: string; onChange: () => void; onAnswers: (answers: Answer[]) => void; onDay: (day: Day | undefined) => void } = {
  line: "unknown",
  told: "",
  onChange: () => undefined,
  onAnswers: () => undefined,
  onDay: () => undefined,
};

let wait = 5_000;
let timer: number | undefined;
let isAsked = false;

/** Send what waits; called after every touch, and by itself again and again. */
export async function sync(): Promise<void> {
  isAsked = true;
  await navigator.locks.request("crossfall-cab-sync", { ifAvailable: true }, async (lock) => {
    if (lock === null) return;
    while (isAsked) {
      isAsked = false;
      await round();
    }
  });
}

export function keepSyncing(): void {
  const again = (): void => {
    wait = 5_000;
    void sync();
  };
  addEventListener("online", again);
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") again();
  });
  again();
}

export async function pairWith(code: string): Promise<Paired> {
  const was = await recall("paired");
  const response = await fetch(`${API}pair`, {
    method: "POST",
    headers: { "Content-Type": "application/json" },
    body: JSON.stringify({ code, was: was ? { device: was.device, key: was.key } : null }),
    signal: AbortSignal.timeout(PATIENCE_MS),
  });
  const said = (await response.json()) as Paired & { error?: string };
  if (!response.ok) throw new Error(said.error ?? "The office did not take the code.");
  await remember("paired", said);
  // Storage that is asked for is not cleared when the phone runs short
  await navigator.storage?.persist?.().catch(() => false);
  return said;
}

async function round(): Promise<void> {
  const paired = await recall("paired");
  if (!paired) return set("unpaired", "");
  try {
    set("sending", "");
    await sendFacts(paired);
    const day = (await (await ask(paired, "day")).json()) as Day;
    await look(day);
    link.onDay(day);
    await sendPhotos(paired, day.limits.chunk_kb * 1024);
    const share = await fullness();
    await forget(share !== undefined && share > day.limits.storage_share ? 0 : day.limits.keep_days);
    wait = 30_000;
    set("clear", "");
  } catch (error) {
    if (error instanceof Refused && error.status === 401) {
      await dropDay();
      link.onDay(undefined);
      set("unpaired", error.message);
    } else if (error instanceof Refused) set("trouble", error.message);
    else set("offline", "");
    wait = Math.min(wait * 1.7, 120_000);
  }
  clearTimeout(timer);
  timer = window.setTimeout(() => void sync(), wait);
}

async function sendFacts(paired: Paired): Promise<void> {
  const limits = (await recall("day"))?.limits;
  const most = limits?.facts_a_batch ?? 20;
  const tried = new Set<string>();
  for (;;) {
    const waiting = (await allFacts()).filter((each) => each.state === "waiting");
    // What got no answer in this round is asked about in the next, and blocks nothing
    const batch = waiting.filter((each) => !tried.has(each.id)).slice(0, most);
    if (batch.length === 0 && (tried.size > 0 || waiting.length > 0)) return;
    batch.forEach((each) => tried.add(each.id));
    const message = {
      protocol: PROTOCOL,
      release: document.documentElement.dataset["release"] ?? "",
      sent_at: new Date().toISOString(),
      waiting: waiting.length - batch.length,
      last: (await recall("last")) ?? null,
      facts: batch.map(({ id, sequence, kind, card, at, seen, payload }: Fact) => ({ id, sequence, kind, card, at, seen, payload })),
    };
    const response = await ask(paired, "facts", { method: "POST", body: JSON.stringify(message) });
    const reply = (await response.json()) as Reply;
    const answers = await hear(reply);
    if (!reply.knows_last) tried.clear();
    if (answers.length > 0) link.onAnswers(answers);
    link.onChange();
    if (batch.length === 0 && reply.knows_last) return;
  }
}

async function sendPhotos(paired: Paired, chunk: number): Promise<void> {
  const sent = new Set((await allFacts()).filter((each) => each.state === "sent").map((each) => each.id));
  const refused = new Set((await allFacts()).filter((each) => each.state === "refused").map((each) => each.id));
  for (const photo of await photosToSend()) {
    if (refused.has(photo.id)) await settlePhoto(photo.id, "the office refused what was told with it");
    if (!sent.has(photo.id)) continue;
    let progress = await photoStep(paired, photo.id);
    let nDamaged = 0;
    while (!progress.is_complete && !progress.refused && nDamaged < 3) {
      const part = photo.data.slice(progress.have, progress.have + chunk);
      const before = progress.have;
      progress = await photoStep(paired, photo.id, before, part);
      if (progress.have <= before && !progress.is_complete) nDamaged += 1;
    }
    if (progress.is_complete || progress.refused) await settlePhoto(photo.id, progress.refused);
    link.onChange();
  }
}

interface Progress {
  have: number;
  is_complete: boolean;
  refused: string;
}

async function photoStep(paired: Paired, id: string, offset?: number, part?: ArrayBuffer): Promise<Progress> {
  const where = offset === undefined ? `photos/${id}` : `photos/${id}?offset=${offset}`;
  const response = await ask(paired, where, part === undefined ? {} : { method: "PUT", body: part });
  return (await response.json()) as Progress;
}

class Refused extends Error {
  constructor(
    message: string,
    readonly status: number,
  ) {
    super(message);
  }
}

async function ask(paired: Paired, where: string, more: RequestInit = {}): Promise<Response> {
  const response = await fetch(API + where, {
    ...more,
    // No cookie goes along: the key in the header is all that counts
    credentials: "omit",
    cache: "no-store",
    headers: { "X-Cab-Key": paired.key, ...(more.body === undefined ? {} : { "Content-Type": "application/octet-stream" }) },
    signal: AbortSignal.timeout(PATIENCE_MS),
  });
  if (response.ok) return response;
  const said = (await response.json().catch(() => ({}))) as { error?: string };
  if (response.status >= 500) throw new Error("the office has trouble of its own");
  throw new Refused(said.error ?? `The office answered ${response.status}.`, response.status);
}

function set(line: Line, told: string): void {
  link.line = line;
  link.told = told;
  link.onChange();
}
