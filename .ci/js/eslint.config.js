// The rules for the page's scripts. Types are checked by tsc (tsconfig.json); this finds what types do not.

import js from "@eslint/js";
import globals from "globals";

export default [
  js.configs.recommended,
  {
    files: ["**/*.js"],
    languageOptions: { ecmaVersion: 2022, sourceType: "module", globals: globals.browser },
    rules: {
      "consistent-return": "error", "default-case-last": "error", eqeqeq: "error", "no-console": "error", "no-else-return": "off",
      "no-implicit-globals": "error", "no-param-reassign": "error", "no-promise-executor-return": "error", "no-self-compare": "error",
      "no-shadow": "error", "no-unmodified-loop-condition": "error", "no-use-before-define": ["error", { functions: false, variables: false }],
      "no-var": "error", "object-shorthand": "error", "prefer-const": "error", "prefer-template": "error",
      "no-unused-vars": ["error", { argsIgnorePattern: "^_" }],
      "max-lines": ["error", 400], "max-lines-per-function": ["error", 60], complexity: ["error", 20],
    },
  },
];
