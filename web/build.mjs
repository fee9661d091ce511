// Bundles the page's script and style for the Python package.
import { build } from "esbuild";

await build({
  entryPoints: { guide: "src/main.tsx" },
  outdir: "../src/lapwright/publish/bundle",
  bundle: true,
  minify: true,
  format: "iife",
  target: "es2022",
  charset: "utf8",
  jsx: "automatic",
  jsxImportSource: "preact",
  legalComments: "none",
  logLevel: "info",
});
