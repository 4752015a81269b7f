// Sentences in the language of the taster, as gettext has them; English is the source.
import { signal } from "./html.js";

export const LANGUAGES = { en: "English", de: "Deutsch" };
export const language = signal("en");

const LOCALES = { en: "en-GB", de: "de" }; // English days and times as the pages write them: 25 Sept 2026, 14:30

const CONTEXT_END = "\u0004"; // between context and message, as in a compiled catalogue
const catalogues = { en: {} };

/** Show the app in a language; its catalogue is part of the precached shell. */
export async function useLanguage(code) {
  const known = code in LANGUAGES ? code : "en";
  if (!(known in catalogues)) catalogues[known] = (await import(`../words/${known}.js`)).default;
  document.documentElement.lang = known;
  language.value = known;
}

function translated(key, text) {
  return catalogues[language.value][key] ?? text;
}

function filled(text, values) {
  return values ? text.replace(/%\((\w+)\)s/g, (_whole, name) => String(values[name])) : text;
}

export function _(text, values) {
  return filled(translated(text, text), values);
}

export function pgettext(context, text, values) {
  return filled(translated(context + CONTEXT_END + text, text), values);
}

/** English and German have two forms: one, and every other number. */
export function ngettext(one, many, n, values) {
  const forms = translated(one, [one, many]);
  return filled(forms[n === 1 ? 0 : 1], { n: number(n), ...values });
}

const formats = new Map();

/** A format of Intl in the present language; making one takes as long as a hundred uses. */
function format(Kind, style) {
  const key = `${Kind.name} ${language.value} ${JSON.stringify(style)}`;
  if (!formats.has(key)) formats.set(key, new Kind(LOCALES[language.value], style));
  return formats.get(key);
}

/** A number as people of the language write it. */
export function number(value, digits = 0) {
  return format(Intl.NumberFormat, { maximumFractionDigits: digits }).format(value);
}

/** A number to be typed over: without marks between thousands, which could be taken for the decimal one. */
export function plainNumber(value) {
  return format(Intl.NumberFormat, { maximumFractionDigits: 1, useGrouping: false }).format(value);
}

/** Seconds as a watch shows them: 0:08, 12:30. */
export function clock(seconds) {
  const whole = Math.max(0, Math.floor(seconds));
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

/** A day, or the time of day when it is today. */
export function when(moment, now) {
  const at = new Date(moment);
  const today = at.toDateString() === new Date(now).toDateString();
  const style = today ? { timeStyle: "short" } : { dateStyle: "medium" };
  return format(Intl.DateTimeFormat, style).format(at);
}
