// What the records say of a tasting: its name, its infusions, its notes.
import { computed } from "../parts/html.js";
import { number, pgettext } from "../parts/i18n.js";
import { infusionLabel } from "../parts/labels.js";
import { store } from "../parts/store.js";
import builtIn from "../words/built_in.js";

/** Rated in every infusion, and first. */
export const LEADING = ["strength", "liking"];

const byNumber = (a, b) => a.fields.number - b.fields.number || a.id.localeCompare(b.id);

export function sessionOf(id) {
  return store.rows("session").value.get(id) ?? null;
}

/** Infusions of a session by number. */
export const infusionsOf = (session) => store.rowsOf("infusion", session).toSorted(byNumber);

export const infusionOf = (session, id) => store.rowsOf("infusion", session).find((row) => row.id === id) ?? null;

export const notesOf = (session) => store.rowsOf("note", session);

/** The blind cup and its flight, or null for an open tasting. */
export function cupOf(id) {
  for (const flight of store.flights.value.values()) {
    const cup = flight.cups?.find((one) => one.id === id);
    if (cup) return { cup, flight };
  }
  return null;
}

/** What a pot on the table is called: its lot, or its code while it is tasted blind. */
export function titleOf(session) {
  const { lot, flight_cup: cup } = session.fields;
  if (lot) return store.rows("lot").value.get(lot)?.fields.name ?? "…";
  return String(cupOf(cup)?.cup.code ?? "…");
}

/** Cups of the taster in the order of serving; after the reveal there is nothing left to taste blind. */
export function cupsToTaste(flight) {
  if (flight.state !== "tasting") return [];
  const { user } = store.account.value ?? {};
  return (flight.cups ?? [])
    .filter((cup) => cup.taster === user)
    .sort((a, b) => a.sitting - b.sitting || a.position - b.position);
}

export function sessionOfCup(cup) {
  for (const session of store.rows("session").value.values()) {
    if (session.fields.flight_cup === cup && isMine(session)) return session;
  }
  return null;
}

/** A tasting belongs to its author; one made on this phone has none from the server yet. */
function isMine(session) {
  const { user } = store.account.value ?? {};
  return !session.author || session.author === user;
}

export function mySessions() {
  return [...store.rows("session").value.values()]
    .filter(isMine)
    .sort((a, b) => b.fields.started_at.localeCompare(a.fields.started_at));
}

/** The cup of a session and its flight while that is tasted blind, else null. */
export function servedCup({ fields }) {
  const blind = cupOf(fields.flight_cup);
  return blind?.flight.state === "tasting" ? blind : null;
}

/** Whether a tasting was blind and its flight goes on no longer. */
export const isOver = (session) => Boolean(session.fields.flight_cup) && !servedCup(session);

const isScored = (session) => notesOf(session.id).some(({ fields }) => fields.descriptor === "liking" && typeof fields.intensity === "number");

/** A served cup has no pot to close: its liking is what the flight asks for. */
export function isClosed(session) {
  return Boolean(session.fields.ending) || isOver(session) || Boolean(servedCup(session) && isScored(session));
}

/** Notes of one cup at one moment; `infusion` is null for what belongs to the whole tasting. */
export function notesAt(notes, infusion, moment) {
  return notes.filter((row) => (row.fields.infusion ?? null) === infusion && row.fields.moment === moment);
}

export function noteOf(notes, infusion, moment, descriptor) {
  return notesAt(notes, infusion, moment).find((row) => row.fields.descriptor === descriptor) ?? null;
}

/** Strength and liking, infusion by infusion: each [[number, points], …]; a rinse is left out. */
export function ratedIn(infusions, notes) {
  const points = new Map(
    notes.filter((row) => row.fields.moment === "mouth").map(({ fields }) => [`${fields.infusion} ${fields.descriptor}`, fields.intensity]),
  );
  const of = (descriptor) =>
    infusions
      .map((one) => [one.fields.number, points.get(`${one.id} ${descriptor}`)])
      .filter(([n, value]) => n > 0 && typeof value === "number");
  return { strength: of("strength"), liking: of("liking") };
}

export function infusionBefore(infusions, infusion) {
  return infusions.filter((one) => one.fields.number < infusion.fields.number).at(-1) ?? null;
}

/** 1 after nothing or a rinse, else one more than the last. */
export function nextNumber(infusions, withRinse) {
  if (infusions.length === 0) return withRinse ? 0 : 1;
  return infusions.at(-1).fields.number + 1;
}

/** Descriptors by key: the built-in ones, which are part of the app, and the team's own. */
export const descriptors = computed(() => {
  const own = [...store.rows("descriptor").value.values()].map((row) => row.fields);
  return new Map([...builtIn, ...own].map((fields) => [fields.key, fields]));
});

/** A word's label; the built-in ones are in the catalogue, a team's own are as the team wrote them. */
export function wordLabel(key) {
  const known = descriptors.value.get(key);
  return known ? pgettext("descriptor", known.label) : key.replaceAll("_", " ");
}

export const isRatedWord = (key) => Boolean(descriptors.value.get(key)?.rated_each_infusion);

/** Whether the server can be asked about a lot: it knows none of a sample that was written a moment ago. */
export const isKnownToServer = (lot) => Boolean(store.rows("lot").value.get(lot)?.revision);

/** The user's role as it was pulled last: it may have changed since they signed in on this phone. */
export function roleNow() {
  const { user, role } = store.account.value ?? {};
  return store.rows("member").value.get(user)?.fields.role ?? role;
}

/** Whether the user may correct what is written of a lot: as the server has it, tasters only samples they wrote. */
export function mayChangeLot({ fields, author }) {
  const [role, { user }] = [roleNow(), store.account.value];
  if (role === "taster") return fields.status === "sample" && (!author || author === user);
  return role !== "viewer";
}

/** Lots, those tasted or written last first. */
export function lotsByUse() {
  const used = new Map();
  for (const { fields } of store.rows("session").value.values()) {
    if (fields.lot && fields.started_at > (used.get(fields.lot) ?? "")) used.set(fields.lot, fields.started_at);
  }
  const last = (lot) => used.get(lot.id) ?? lot.at ?? "";
  return [...store.rows("lot").value.values()]
    .filter((lot) => lot.fields.status !== "retired")
    .sort((a, b) => last(b).localeCompare(last(a)) || a.fields.name.localeCompare(b.fields.name));
}

/** Whether every word of what was typed stands somewhere in the texts, without regard to case and accents. */
export function matches(typed, ...texts) {
  const plain = (text) => text.normalize("NFD").replace(/\p{M}/gu, "").toLowerCase();
  const all = plain(texts.filter(Boolean).join(" "));
  return plain(typed).split(/\s+/).every((part) => all.includes(part));
}

/** What is known of a record: what stands, or what was refused of it. */
const fieldsOf = (id) => ({ ...store.problems.value.find((one) => one.id === id)?.fields, ...store.row(id)?.fields });

/** What a refused change is of, in words: a person must find it again to write it anew. Its props are of `store.problems`. */
export function refusedWords({ type, id, fields }) {
  const { session, infusion, descriptor, intensity, text, name, label } = { ...fieldsOf(id), ...fields };
  const tasting = type === "session" ? id : session;
  const cup = type === "infusion" ? id : infusion;
  return [
    tasting ? titleOf({ fields: fieldsOf(tasting) }) : name ?? label,
    cup && infusionLabel(fieldsOf(cup).number),
    descriptor && wordLabel(descriptor),
    typeof intensity === "number" && number(intensity, 1),
    text,
    type === "photo" && pgettext("what was refused", "photo"),
  ].filter(Boolean).join(" · ");
}
