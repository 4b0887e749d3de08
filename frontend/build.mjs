// Bundle one script per page and the style sheets, with hashed names, and write manifest.json.
// The names in the manifest are what templates ask for; see crossfall_app/web/built.py.
import { createHash } from "node:crypto";
import { copyFile, mkdir, readFile, readdir, rm, writeFile } from "node:fs/promises";
import { createRequire } from "node:module";
import { basename, dirname, join, relative } from "node:path";
import { fileURLToPath } from "node:url";
import { gzipSync } from "node:zlib";
import esbuild from "esbuild";

const here = dirname(fileURLToPath(import.meta.url));
const root = dirname(here);
const out = join(root, "src", "crossfall_app", "static", "built");
const require = createRequire(import.meta.url);

await rm(out, { recursive: true, force: true });
await mkdir(out, { recursive: true });

const pages = (await readdir(join(here, "pages"))).filter((name) => name.endsWith(".ts"));
const alike = {
  absWorkingDir: root,
  outdir: out,
  bundle: true,
  format: "esm",
  target: ["es2022", "chrome111", "firefox115", "safari16.4"],
  minify: true,
  entryNames: "[name]-[hash]",
  assetNames: "[name]-[hash]",
  loader: { ".woff2": "file" },
  legalComments: "linked",
  metafile: true,
  logLevel: "warning",
};
const result = await esbuild.build({
  ...alike,
  entryPoints: [
    ...pages.map((name) => ({ in: join(here, "pages", name), out: basename(name, ".ts") })),
    { in: join(here, "styles", "office.css"), out: "office" },
    { in: join(here, "styles", "map.css"), out: "map" },
  ],
  splitting: true,
  chunkNames: "part-[hash]",
});
// The page in the cab is in one piece: what the phone keeps for offline is named file by file
const field = await esbuild.build({
  ...alike,
  entryPoints: [
    { in: join(here, "field", "cab.ts"), out: "cab" },
    { in: join(here, "field", "worker.ts"), out: "cab-worker" },
    { in: join(here, "field", "cab.css"), out: "cab" },
  ],
});

const files = {};
for (const [path, made] of Object.entries({ ...result.metafile.outputs, ...field.metafile.outputs })) {
  if (!made.entryPoint) continue;
  const name = basename(made.entryPoint).replace(/\.ts$/, ".js").replace(/^worker\.js$/, "cab-worker.js");
  files[name] = relative(out, join(root, path)).replaceAll("\\", "/");
}

const icons = [180, 192, 512].map((side) => [`cab-icon-${side}.png`, `field/icon-${side}.png`]);
for (const [name, path] of [["mark.svg", "mark.svg"], ["cab-icon.svg", "field/icon.svg"], ...icons]) {
  const drawn = join(here, path);
  files[name] = name.replace(/\.(svg|png)$/, `-${await fingerprint(drawn)}.$1`);
  await copyFile(drawn, join(out, files[name]));
}

// MapLibre 6 runs its worker from a separate module whose address the page has to give it
const worker = require.resolve("maplibre-gl/dist/maplibre-gl-worker.mjs");
files["map-worker.mjs"] = `map-worker-${await fingerprint(worker)}.mjs`;
await copyFile(worker, join(out, files["map-worker.mjs"]));

// The licences of what is bundled travel with it
for (const name of ["idb", "maplibre-gl", "@fontsource-variable/atkinson-hyperlegible-next"]) {
  const folder = join(root, "node_modules", name);
  const text = (await readdir(folder)).find((each) => /^licen[cs]e/i.test(each));
  if (text) await copyFile(join(folder, text), join(out, `LICENCE-${basename(name)}.txt`));
}

// Squeezed copies, which the server sends to browsers that take them: nearly all
for (const name of await readdir(out)) {
  if (!/\.(js|mjs|css|svg)$/.test(name)) continue;
  const content = await readFile(join(out, name));
  if (content.length > 1000) await writeFile(join(out, `${name}.gz`), gzipSync(content, { level: 9 }));
}

const manifest = { sources: process.env.CROSSFALL_SOURCES ?? "", files };
await writeFile(join(out, "manifest.json"), JSON.stringify(manifest, null, 1) + "\n");

async function fingerprint(path) {
  return createHash("sha256").update(await readFile(path)).digest("hex").slice(0, 8);
}
