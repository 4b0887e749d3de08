// Hands off while moving. Input is taken only after the operator says: stopped, blade down, brake
// set; it ends when the phone moves, or after a while without a touch. While moving the page shows,
// and counts passes from one end of the job to the other.
import type { Card, Limits, Point } from "./words";

export interface Where {
  lon: number;
  lat: number;
  speed_km_h: number;
  accuracy_m: number;
  at: number;
}

const EARTH_M_PER_DEGREE = 111_195;
const STALE_MS = 15_000;

export class Gate {
  isOpen = false;
  isMoving = false;
  where: Where | undefined;
  isAllowed: boolean | undefined;
  onChange: () => void = () => undefined;
  private touched = 0;
  private watch: number | undefined;

  constructor(public limits: () => Limits | undefined) {
    setInterval(() => this.look(), 1000);
    addEventListener("pointerdown", () => {
      if (this.isOpen) this.touched = Date.now();
    });
  }

  /** Ask for the position; nothing but passes seen and the map depend on it. */
  follow(onMove: (where: Where) => void): void {
    if (this.watch !== undefined || !("geolocation" in navigator)) return;
    this.watch = navigator.geolocation.watchPosition(
      (found) => {
        this.isAllowed = true;
        const before = this.where;
        const now: Where = {
          lon: found.coords.longitude,
          lat: found.coords.latitude,
          speed_km_h: 0,
          accuracy_m: found.coords.accuracy,
          at: found.timestamp,
        };
        now.speed_km_h = found.coords.speed === null || Number.isNaN(found.coords.speed) ? speedBetween(before, now) : found.coords.speed * 3.6;
        this.where = now;
        this.look();
        onMove(now);
        this.onChange();
      },
      (error) => {
        this.isAllowed = error.code !== error.PERMISSION_DENIED;
        this.onChange();
      },
      { enableHighAccuracy: true, maximumAge: 2000, timeout: 30_000 },
    );
  }

  open(): boolean {
    this.look();
    if (this.isMoving) return false;
    this.isOpen = true;
    this.touched = Date.now();
    this.onChange();
    return true;
  }

  close(): void {
    if (!this.isOpen) return;
    this.isOpen = false;
    this.onChange();
  }

  private look(): void {
    const limits = this.limits();
    if (!limits) return;
    const isFresh = this.where !== undefined && Date.now() - this.where.at < STALE_MS;
    const moving = isFresh && this.where!.speed_km_h >= limits.moving_km_h;
    if (moving !== this.isMoving) {
      this.isMoving = moving;
      if (moving) this.isOpen = false;
      this.onChange();
    }
    if (this.isOpen && Date.now() - this.touched > limits.stopped_s * 1000) this.close();
  }
}

/** Counts passes along one job's line: from near one end to near the other, at working speed. */
export class PassWatch {
  seen = 0;
  private end: 0 | 1 | undefined;
  private left = 0;

  constructor(
    readonly card: Card,
    private readonly limits: Limits,
  ) {}

  move(where: Where): boolean {
    const found = along(this.card.line, [where.lon, where.lat]);
    if (found === undefined || found.away_m > this.limits.off_road_m) return false;
    const margin = 1 - this.limits.pass_share;
    const end = found.share <= margin ? 0 : found.share >= 1 - margin ? 1 : undefined;
    if (end === undefined) return false;
    if (this.end !== undefined && end !== this.end) {
      const hours = (where.at - this.left) / 3_600_000;
      const isWork = found.length_m / 1000 / Math.max(hours, 1e-6) <= this.limits.seen_km_h;
      this.end = end;
      this.left = where.at;
      if (isWork) this.seen += 1;
      return isWork;
    }
    this.end = end;
    this.left = where.at;
    return false;
  }
}

/** Where a place lies along a line: share of its length, and how far off. */
export function along(line: Point[], place: Point): { share: number; away_m: number; length_m: number } | undefined {
  if (line.length < 2) return undefined;
  const narrow = Math.cos((place[1] * Math.PI) / 180);
  const flat = (each: Point): Point => [(each[0] - place[0]) * narrow * EARTH_M_PER_DEGREE, (each[1] - place[1]) * EARTH_M_PER_DEGREE];
  let total = 0;
  let best = { at: 0, away: Infinity };
  for (let i = 0; i + 1 < line.length; i += 1) {
    const [a, b] = [flat(line[i]!), flat(line[i + 1]!)];
    const [dx, dy] = [b[0] - a[0], b[1] - a[1]];
    const length = Math.hypot(dx, dy);
    const t = length > 0 ? Math.min(1, Math.max(0, -(a[0] * dx + a[1] * dy) / length ** 2)) : 0;
    const away = Math.hypot(a[0] + t * dx, a[1] + t * dy);
    if (away < best.away) best = { at: total + t * length, away };
    total += length;
  }
  return total > 0 ? { share: best.at / total, away_m: best.away, length_m: total } : undefined;
}

function speedBetween(before: Where | undefined, now: Where): number {
  if (before === undefined || now.at <= before.at) return 0;
  const narrow = Math.cos((now.lat * Math.PI) / 180);
  const metres = Math.hypot((now.lon - before.lon) * narrow, now.lat - before.lat) * EARTH_M_PER_DEGREE;
  // A position that only trembles within its own error is no movement
  if (metres < (before.accuracy_m + now.accuracy_m) / 2) return 0;
  return (metres / (now.at - before.at)) * 3600;
}
