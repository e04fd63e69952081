import js from "@eslint/js";
import svelte from "eslint-plugin-svelte";
import globals from "globals";
import ts from "typescript-eslint";
import svelteConfig from "./svelte.config.js";

export default ts.config(
  { ignores: ["node_modules", "dist", "src/lib/schema.d.ts"] },
  js.configs.recommended,
  ...ts.configs.recommended,
  ...svelte.configs.recommended,
  { languageOptions: { globals: { ...globals.browser } } },
  {
    files: ["**/*.svelte", "**/*.svelte.ts"],
    languageOptions: {
      parserOptions: { parser: ts.parser, extraFileExtensions: [".svelte"], svelteConfig },
    },
  },
  {
    rules: {
      // the content policy forbids style="..."; style:width={...} is fine
      "no-restricted-syntax": ["error", "SvelteAttribute[key.name=style]"],
      "svelte/no-at-html-tags": "error",
      "svelte/no-navigation-without-resolve": "off",
    },
  },
);
