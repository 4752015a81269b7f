// Every change that a screen makes to records. Each resolves once it is durable, and returns how to take it back.
import { store } from "../parts/store.js";
import { noteOf, notesOf } from "./reading.js";

const write = (...changes) => store.write(changes);

/** The fields of a record as they are, to be written again by an undo. */
function former(id, names) {
  const { fields } = store.row(id);
  return Object.fromEntries(names.map((name) => [name, fields[name] ?? null]));
}

/** Change fields of one record. */
export async function change(type, id, fields) {
  const before = former(id, Object.keys(fields));
  await write({ type, id, fields });
  return () => write({ type, id, fields: before });
}

export async function create(type, fields) {
  const id = store.newId();
  await write({ type, id, fields });
  return { id, undo: () => write({ type, id, deleted: true }) };
}

let last = Promise.resolve();

/** One note after the other: a second tap must find what the first one wrote, or the word would be there twice. */
function inTurn(act) {
  last = last.then(act, act);
  return last;
}

/** Note a word, or how strong it is; a second rating of the same word in the same cup corrects the first. */
export function note(session, infusion, moment, descriptor, intensity = null) {
  return inTurn(() => writeNote(session, infusion, moment, descriptor, intensity));
}

async function writeNote(session, infusion, moment, descriptor, intensity) {
  const found = noteOf(notesOf(session), infusion, moment, descriptor);
  if (found) return change("note", found.id, { intensity });
  const { undo } = await create("note", { session, infusion, moment, descriptor, intensity });
  return undo;
}

/** Take a note back; a later edit of its fields would bring the record back, as an undo does. */
export async function unnote(row) {
  await write({ type: "note", id: row.id, deleted: true });
  return () => write({ type: "note", id: row.id, fields: row.fields });
}

/** Store free text on one moment; empty text takes it away. */
export async function sayInWords(session, infusion, moment, row, text) {
  if (!text) return row ? unnote(row) : null;
  if (row) return change("note", row.id, { text });
  const { undo } = await create("note", { session, infusion, moment, text });
  return undo;
}
