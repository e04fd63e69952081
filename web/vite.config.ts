import { svelte } from "@sveltejs/vite-plugin-svelte";
import { defineConfig } from "vitest/config";

export default defineConfig({
  plugins: [svelte()],
  build: {
    outDir: "../src/haltere/doors/bench/pages",
    emptyOutDir: true,
    // no data: addresses, so that the content policy stays tight
    assetsInlineLimit: 0,
    license: { fileName: "licenses.md" },
  },
  test: { include: ["src/**/*.test.ts"] },
});
