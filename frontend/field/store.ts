// What the phone keeps: the outbox, the photos, the day's cards. A fact is in here before the touch
// is answered, and leaves the outbox only on an answer of its own.
import { openDB, type DBSchema, type IDBPDatabase } from "idb";
import type { Answer, Day, Fact, Paired, Picture, Reply } from "./words";

interface Kept {
  paired: Paired;
  sequence: number;
  seen: number;
  last: { id: string; number: number };
  day: Day;
  skew: number;
  heard: number;
  read: string[];
}

interface Shape extends DBSchema {
  facts: { key: string; value: Fact; indexes: { state: string } };
  photos: { key: string; value: Picture };
  kept: { key: string; value: unknown };
}

type Base = IDBPDatabase<Shape>;
let base: Promise<Base> | undefined;

function open(): Promise<Base> {
  base ??= openDB<Shape>("crossfall-cab", 1, {
    upgrade(db) {
      db.createObjectStore("facts", { keyPath: "id" }).createIndex("state", "state");
      db.createObjectStore("photos", { keyPath: "id" });
      db.createObjectStore("kept");
    },
    // Another tab with a newer page waits for this one: let it go on, and open again when needed
    blocking(_old, _new, event) {
      (event.target as IDBDatabase).close();
      base = undefined;
    },
    terminated() {
      base = undefined;
    },
  });
  return base;
}

export async function recall<K extends keyof Kept>(name: K): Promise<Kept[K] | undefined> {
  return (await (await open()).get("kept", name)) as Kept[K] | undefined;
}

export async function remember<K extends keyof Kept>(name: K, value: Kept[K]): Promise<void> {
  await (await open()).put("kept", value, name);
}

export async function allFacts(): Promise<Fact[]> {
  const facts = await (await open()).getAll("facts");
  return facts.sort((a, b) => a.sequence - b.sequence);
}

export async function photosToSend(): Promise<Picture[]> {
  return (await (await open()).getAll("photos")).filter((each) => !each.isUp && !each.refused);
}

/** Write a fact, with its photo, in one transaction; it must arrive exactly once from here on. */
export async function tell(
  kind: string,
  payload: Record<string, unknown>,
  card: string | null,
  photo?: { data: ArrayBuffer; sha256: string },
): Promise<Fact> {
  const db = await open();
  const work = db.transaction(["facts", "photos", "kept"], "readwrite", { durability: "strict" });
  const kept = work.objectStore("kept");
  const sequence = (((await kept.get("sequence")) as number | undefined) ?? 0) + 1;
  const fact: Fact = {
    id: crypto.randomUUID(),
    sequence,
    kind,
    card,
    at: new Date().toISOString(),
    seen: ((await kept.get("seen")) as number | undefined) ?? 0,
    payload,
    state: "waiting",
    number: 0,
    why: "",
  };
  await kept.put(sequence, "sequence");
  await work.objectStore("facts").put(fact);
  if (photo) await work.objectStore("photos").put({ id: fact.id, ...photo, isUp: false, refused: "" });
  await work.done;
  return fact;
}

/** Take answers in. Facts without an answer stay in the outbox. */
export async function hear(reply: Reply): Promise<Answer[]> {
  const db = await open();
  const work = db.transaction(["facts", "photos", "kept"], "readwrite", { durability: "strict" });
  const [facts, photos, kept] = [work.objectStore("facts"), work.objectStore("photos"), work.objectStore("kept")];
  let last = (await kept.get("last")) as Kept["last"] | undefined;
  if (!reply.knows_last) {
    // The office is younger than what it once answered: offer everything again
    for (const fact of await facts.index("state").getAll("sent")) await facts.put({ ...fact, state: "waiting" });
    for (const photo of await photos.getAll()) await photos.put({ ...photo, isUp: false });
    last = undefined;
    await kept.put(0, "seen");
  }
  const fresh: Answer[] = [];
  for (const answer of reply.answers) {
    const fact = await facts.get(answer.id);
    if (fact === undefined || fact.state !== "waiting") continue;
    const isRefused = answer.answer === "rejected";
    await facts.put({ ...fact, state: isRefused ? "refused" : "sent", number: answer.number, why: answer.why });
    if (isRefused || answer.is_conflict) fresh.push(answer);
    if (!isRefused && (last === undefined || answer.number > last.number)) last = { id: answer.id, number: answer.number };
  }
  if (last === undefined) await kept.delete("last");
  else await kept.put(last, "last");
  await kept.put(reply.skew_s, "skew");
  await kept.put(Date.now(), "heard");
  await work.done;
  return fresh;
}

/** Offer again what the office refused: it may know the card by now, or be newer. */
export async function offerAgain(): Promise<void> {
  const db = await open();
  const work = db.transaction(["facts", "photos"], "readwrite", { durability: "strict" });
  const photos = work.objectStore("photos");
  for (const fact of await work.objectStore("facts").index("state").getAll("refused")) {
    await work.objectStore("facts").put({ ...fact, state: "waiting", why: "" });
    const photo = await photos.get(fact.id);
    if (photo?.refused) await photos.put({ ...photo, refused: "" });
  }
  await work.done;
}

/** Take in what others told; only what is shown here counts as seen when something is changed. */
export async function look(day: Day): Promise<void> {
  const db = await open();
  const work = db.transaction("kept", "readwrite");
  await work.store.put(day, "day");
  await work.store.put(day.latest, "seen");
  await work.done;
}

/** A phone whose key was taken away keeps what waits, and none of the agency's cards. */
export async function dropDay(): Promise<void> {
  await (await open()).delete("kept", "day");
}

export async function settlePhoto(id: string, refused: string): Promise<void> {
  const db = await open();
  const photo = await db.get("photos", id);
  if (photo) await db.put("photos", { ...photo, isUp: refused === "", refused });
}

/** Forget what arrived long ago; all of it at once where storage runs short. */
export async function forget(olderThanDays: number): Promise<void> {
  const db = await open();
  const before = new Date(Date.now() - olderThanDays * 86_400_000).toISOString();
  const work = db.transaction(["facts", "photos"], "readwrite");
  const photos = work.objectStore("photos");
  for (const fact of await work.objectStore("facts").index("state").getAll("sent")) {
    if (fact.at >= before) continue;
    const photo = await photos.get(fact.id);
    if (photo && !photo.isUp && !photo.refused) continue;
    await photos.delete(fact.id);
    // The newest answered fact stays: by it the office is asked whether it still knows
    if (olderThanDays > 0) await work.objectStore("facts").delete(fact.id);
  }
  await work.done;
}

/** How full the phone's storage for this page is, 0 to 1; undefined where the browser keeps silent. */
export async function fullness(): Promise<number | undefined> {
  const found = await navigator.storage?.estimate?.();
  if (!found?.quota || found.usage === undefined) return undefined;
  return found.usage / found.quota;
}
