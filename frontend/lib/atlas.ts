// The map: the agency's own lines on a plain ground, coloured by one theme at a time.
import {
  Map,
  Marker,
  NavigationControl,
  Popup,
  ScaleControl,
  setWorkerUrl,
  type ExpressionSpecification,
  type LayerSpecification,
  type MapGeoJSONFeature,
  type StyleSpecification,
} from "maplibre-gl";
import type { Feature, FeatureCollection, LineString, Point } from "geojson";
import { ask, colour } from "./page";

export interface RoadProperties {
  id: string;
  route: string;
  where: string;
  is_ours: boolean;
  [theme: string]: string | boolean;
}

interface Drawn {
  segments: FeatureCollection<LineString, RoadProperties>;
  places: FeatureCollection<Point, { kind: string; name: string }>;
  backdrop: FeatureCollection<LineString, { kind: string }>;
}

/** A network too large for one drawing: lines in tiles, and for each theme one code a road. */
interface Tiled {
  tiles: string;
  closest: number;
  named_from: number;
  bounds: Bounds;
  codes: Record<string, { names: string[]; codes: string }>;
  places: Drawn["places"];
  backdrop: Drawn["backdrop"];
}

type Answer = Drawn | Tiled;

type Bounds = [number, number, number, number];

function isTiled(answer: Answer): answer is Tiled {
  return "tiles" in answer;
}

const GROUPS: Record<string, string[]> = {
  need: ["n-smooth", "n-shape", "n-gravel", "n-drain", "n-other", "n-none"],
  rating: ["s-1", "s-2", "s-3", "s-4", "s-5", "s-none"],
  surface: ["m-frozen", "m-too-wet", "m-workable", "m-drying", "m-dry", "m-unknown"],
  gravel: ["s-1", "s-2", "s-3", "s-4", "s-5", "s-none"],
  since: ["s-1", "s-2", "s-3", "s-4", "s-5", "s-none"],
  plan: ["k-1", "k-2", "k-3", "k-4", "k-5", "k-6", "k-7", "k-8", "k-none"],
};

/** What the server calls a colour of this theme: n-smooth is "smooth", s-1 is "s1". */
function word(variable: string): string {
  const [group, ...rest] = variable.split("-");
  const name = rest.join("_");
  return group === "s" || group === "k" ? `${group}${name}` : name;
}

/** The colour name of a road: its own property, or looked up by its number in a tiled network. */
function nameOf(theme: string, answer: Answer): ExpressionSpecification {
  if (!isTiled(answer)) return ["get", theme];
  const told = answer.codes[theme];
  if (told === undefined) return ["literal", "none"] as unknown as ExpressionSpecification;
  const codes = Array.from(atob(told.codes), (each) => each.charCodeAt(0));
  const code = ["at", ["get", "i"], ["literal", codes]];
  const pairs = told.names.flatMap((name, n) => [n, name]);
  return ["match", code, ...pairs, "none"] as unknown as ExpressionSpecification;
}

function paint(theme: string, answer: Answer): ExpressionSpecification {
  const pairs = (GROUPS[theme] ?? []).flatMap((each) => [word(each), colour(`--${each}`)]);
  return ["match", nameOf(theme, answer), ...pairs, colour("--n-none")] as unknown as ExpressionSpecification;
}

/** Roads with nothing to say in this theme stay thin. */
function width(theme: string, answer: Answer): ExpressionSpecification {
  // Far out a road of a large network is as wide as the square it stands for
  if (isTiled(answer)) return ["interpolate", ["linear"], ["zoom"], 5, 1.4, 9, 2.4, 12, 6.5, 14, 12];
  const quiet = ["match", nameOf(theme, answer), ["none", "snone", "knone"], 0.5, 1];
  const stops = [8, 2.4, 10, 4, 12, 6.5, 14, 12].map((each, n) => (n % 2 ? ["*", each, quiet] : each));
  return ["interpolate", ["linear"], ["zoom"], ...stops] as unknown as ExpressionSpecification;
}

const LETTER: Record<string, string> = { yard: "Y", camp: "C", pit: "P", water: "W", hazard: "!" };

const THIN: ExpressionSpecification = ["interpolate", ["linear"], ["zoom"], 8, 1.8, 11, 3, 14, 7];
const CREEK: ExpressionSpecification = ["interpolate", ["linear"], ["zoom"], 8, 1.4, 10, 2.8, 12, 4.5, 14, 8];
const RIVER: ExpressionSpecification = ["interpolate", ["linear"], ["zoom"], 8, 2, 10, 3.6, 12, 7, 14, 14];
const RAILS: ExpressionSpecification = ["interpolate", ["linear"], ["zoom"], 8, 0.8, 12, 1.2, 14, 2];
const TIES: ExpressionSpecification = ["interpolate", ["linear"], ["zoom"], 8, 3, 12, 6, 14, 10];
const CASING: ExpressionSpecification = ["interpolate", ["linear"], ["zoom"], 8, 7, 10, 10, 12, 14, 14, 22];

/** Creeks and railways below the roads: a quiet blue-grey line, and a thin line with its ties. */
function backdrop(): LayerSpecification[] {
  const water = { "line-color": colour("--map-water") };
  const rail = { "line-color": colour("--map-rail") };
  const round = { "line-cap": "round", "line-join": "round" } as const;
  const only = (kind: string): ExpressionSpecification => ["==", ["get", "kind"], kind];
  const all = { type: "line", source: "behind" } as const;
  return [
    { ...all, id: "creeks", filter: only("stream"), layout: round, paint: { ...water, "line-width": CREEK } },
    { ...all, id: "rivers", filter: only("water"), layout: round, paint: { ...water, "line-width": RIVER } },
    { ...all, id: "rails", filter: only("rail"), paint: { ...rail, "line-width": RAILS } },
    {
      ...all,
      id: "ties",
      filter: only("rail"),
      paint: { ...rail, "line-width": TIES, "line-dasharray": [0.22, 1.6] },
    },
  ];
}

function style(answer: Answer, theme: string): StyleSpecification {
  const roads = isTiled(answer) ? { source: "roads", "source-layer": "roads" } : { source: "roads" };
  return {
    version: 8,
    sources: {
      behind: { type: "geojson", data: answer.backdrop, tolerance: 0.2 },
      roads: isTiled(answer)
        ? {
            type: "vector",
            tiles: [location.origin + answer.tiles],
            maxzoom: answer.closest,
            bounds: answer.bounds,
          }
        : { type: "geojson", data: answer.segments, promoteId: "id" },
    },
    layers: [
      { id: "ground", type: "background", paint: { "background-color": colour("--map-ground") } },
      ...backdrop(),
      {
        id: "others",
        type: "line",
        ...roads,
        filter: ["!", ["get", "is_ours"]],
        layout: { "line-cap": "round", "line-join": "round" },
        paint: { "line-color": colour("--map-paved"), "line-width": THIN },
      },
      {
        id: "chosen",
        type: "line",
        ...roads,
        filter: ["==", ["get", "id"], ""],
        layout: { "line-cap": "round", "line-join": "round" },
        paint: { "line-color": colour("--map-mark"), "line-width": CASING },
      },
      {
        id: "roads",
        type: "line",
        ...roads,
        filter: ["get", "is_ours"],
        layout: { "line-cap": "round", "line-join": "round" },
        paint: { "line-color": paint(theme, answer), "line-width": width(theme, answer) },
      },
    ],
  };
}

function boundsOf(features: Feature<LineString>[]): Bounds {
  const box: Bounds = [Infinity, Infinity, -Infinity, -Infinity];
  for (const feature of features) {
    for (const [x, y] of feature.geometry.coordinates) {
      if (x === undefined || y === undefined) continue;
      box[0] = Math.min(box[0], x);
      box[1] = Math.min(box[1], y);
      box[2] = Math.max(box[2], x);
      box[3] = Math.max(box[3], y);
    }
  }
  return box;
}

export class Atlas {
  private readonly byId = new globalThis.Map<string, Feature<LineString, RoadProperties>>();
  private readonly pointer: Popup;
  private theme: string;

  private constructor(
    private readonly map: Map,
    private readonly answer: Answer,
    theme: string,
  ) {
    this.theme = theme;
    if (!isTiled(answer)) {
      for (const feature of answer.segments.features) this.byId.set(feature.properties.id, feature);
    }
    this.pointer = new Popup({ closeButton: false, closeOnClick: false, offset: 12, maxWidth: "22rem" });
    this.placeSpots();
    this.watchPointer();
    this.watchScheme();
  }

  static async open(place: HTMLElement, theme: string): Promise<Atlas> {
    setWorkerUrl(place.dataset["worker"] ?? "");
    const answer = (await (await ask(place.dataset["segments"] ?? "")).json()) as Answer;
    const map = new Map({
      container: place,
      style: style(answer, theme),
      bounds: isTiled(answer) ? answer.bounds : boundsOf(answer.segments.features),
      fitBoundsOptions: { padding: 28 },
      attributionControl: false,
      dragRotate: false,
      pitchWithRotate: false,
      fadeDuration: 0,
    });
    map.touchZoomRotate.disableRotation();
    map.addControl(new NavigationControl({ showCompass: false }), "top-right");
    const unit = document.documentElement.dataset["units"] === "us" ? "imperial" : "metric";
    map.addControl(new ScaleControl({ unit }), "bottom-left");
    const atlas = new Atlas(map, answer, theme);
    await new Promise<void>((resolve) => map.once("idle", () => resolve()));
    return atlas;
  }

  get nRoads(): number {
    if (isTiled(this.answer)) {
      const any = Object.values(this.answer.codes)[0];
      return any === undefined ? 0 : Array.from(atob(any.codes)).filter((each) => each.charCodeAt(0) < 255).length;
    }
    return [...this.byId.values()].filter((each) => each.properties.is_ours).length;
  }

  onChoose(act: (id: string) => void): void {
    this.map.on("click", (event) => {
      const found = this.nearest(event.point.x, event.point.y);
      const id: unknown = found?.properties["id"];
      if (typeof id === "string") act(id);
      else if (found !== undefined && isTiled(this.answer)) {
        // Far out a road stands for its neighbours: come closer instead of choosing one of them
        this.map.easeTo({ center: event.lngLat, zoom: this.answer.named_from + 0.5 });
      }
    });
  }

  colourBy(theme: string): void {
    this.theme = theme;
    this.map.setPaintProperty("roads", "line-color", paint(theme, this.answer));
    this.map.setPaintProperty("roads", "line-width", width(theme, this.answer));
  }

  /** Mark one road, and bring it into view when asked. */
  mark(id: string, bring: boolean, box = ""): void {
    this.map.setFilter("chosen", ["==", ["get", "id"], id]);
    const feature = this.byId.get(id);
    const told = box.split(",").map(Number);
    const bounds = feature !== undefined ? boundsOf([feature]) : told.length === 4 ? (told as Bounds) : null;
    if (!bring || bounds === null) return;
    const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
    this.map.fitBounds(bounds, { padding: 90, maxZoom: 12.5, duration: still ? 0 : 500 });
  }

  /** Keep only some roads bright; null shows all. */
  narrow(ids: string[] | null): void {
    const opacity: number | ExpressionSpecification =
      ids === null ? 1 : ["case", ["in", ["get", "id"], ["literal", ids]], 1, 0.15];
    this.map.setPaintProperty("roads", "line-opacity", opacity);
  }

  /** Yards by name, pits and dangers by their letter: text without a font server. */
  private placeSpots(): void {
    for (const place of this.answer.places.features) {
      const { kind, name } = place.properties;
      const spot = document.createElement("div");
      spot.className = `spot spot-${kind}`;
      spot.textContent = LETTER[kind] ?? "";
      spot.title = name;
      if (kind === "yard" || kind === "camp") {
        const label = document.createElement("span");
        label.className = "spot-name";
        label.textContent = name;
        spot.append(label);
      }
      const [lon, lat] = place.geometry.coordinates;
      new Marker({ element: spot }).setLngLat([lon ?? 0, lat ?? 0]).addTo(this.map);
    }
  }

  private nearest(x: number, y: number): MapGeoJSONFeature | undefined {
    const box: [[number, number], [number, number]] = [
      [x - 7, y - 7],
      [x + 7, y + 7],
    ];
    return this.map.queryRenderedFeatures(box, { layers: ["roads", "others"] })[0];
  }

  private watchPointer(): void {
    this.map.on("mousemove", (event) => {
      const found = this.nearest(event.point.x, event.point.y);
      this.map.getCanvas().style.cursor = found === undefined ? "" : "pointer";
      if (found === undefined) {
        this.pointer.remove();
        return;
      }
      this.pointer.setLngLat(event.lngLat).setDOMContent(this.label(found)).addTo(this.map);
    });
    this.map.on("mouseout", () => this.pointer.remove());
  }

  private label(found: MapGeoJSONFeature): HTMLElement {
    const box = document.createElement("div");
    const name = document.createElement("strong");
    const says = document.createElement("div");
    if (found.properties["route"] === undefined) {
      name.textContent = "Come closer for single roads";
    } else {
      name.textContent = `${String(found.properties["route"])}, ${String(found.properties["where"])}`;
      says.textContent = String(
        found.properties[`${this.theme}_says`] ??
          (found.properties["is_ours"] ? "Press for what is known" : "Not one of the roads we blade"),
      );
    }
    box.append(name, says);
    return box;
  }

  private watchScheme(): void {
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
      this.map.setStyle(style(this.answer, this.theme));
    });
  }
}

