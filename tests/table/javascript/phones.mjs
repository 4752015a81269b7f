// Phones of the app's own modules, driven over stdin and stdout by tests/table/javascript_phone.py: a command in each
// line, a result in each; a line with "request" asks the other side to carry a request.
import { createInterface } from "node:readline";

import { Rows } from "../../../table/static/table/data/rows.js";
import { RefusedError, SignedOutError, UnreachableError } from "../../../table/static/table/data/requests.js";
import { applyChanges, changesOf, emptyState } from "../../../table/static/table/data/state.js";
import { Sync } from "../../../table/static/table/data/sync.js";
import { writtenEvents } from "../../../table/static/table/data/writing.js";

const phones = new Map();
const lines = createInterface({ input: process.stdin })[Symbol.asyncIterator]();

/** The log of a phone in memory. */
class MemoryLog {
  constructor(state) {
    this.state = state;
    this.rows = new Rows(state);
  }

  async append(make) {
    const events = make(this.state);
    const changes = events.flatMap((event) => changesOf(this.state, event));
    const touched = this.rows.touchedBy(changes);
    applyChanges(this.state, changes);
    this.rows.update(changes, touched);
    return events;
  }
}

const printLine = (value) => process.stdout.write(`${JSON.stringify(value)}\n`);
const readLine = async () => JSON.parse((await lines.next()).value);

const requestOf = (state) => async (method, path, { body, lines: asLines = false }) => {
  printLine({ request: { method, path, body, lines: asLines, token: state.meta.get("token") } });
  const { status, answer } = await readLine();
  if (status === 0) throw new UnreachableError("no answer");
  if (status === 401) throw new SignedOutError("401", { status, problem: answer });
  if (status >= 400) throw new RefusedError(String(status), { status, problem: answer });
  return answer;
};

const streamOf = (request) => async (path, body, onLine) => {
  const { pages } = await request("POST", path, { body, lines: true });
  for (const page of pages) await onLine(page);
};

const numbered = (map) => Object.fromEntries([...map].map(([key, { revision: _, ...unsent }]) => [key, unsent]));

/** A state in the form of the Python phone's snapshot. */
function snapshotOf(state) {
  return {
    ...Object.fromEntries(state.meta),
    records: Object.fromEntries([...state.records].map(([id, { id: _, ...record }]) => [id, record])),
    outbox: numbered(state.outbox),
    refused: numbered(state.refused),
    confirmed: [...state.confirmed].map(([, { revision, ...unsent }]) => [revision, unsent]),
    photos: Object.fromEntries(state.photos),
  };
}

function restored({ records, outbox, refused, confirmed, photos, ...meta }) {
  const state = emptyState();
  for (const [key, value] of Object.entries(meta)) state.meta.set(key, value);
  for (const [id, record] of Object.entries(records)) state.records.set(id, { id, ...record });
  for (const [number, unsent] of Object.entries(outbox)) state.outbox.set(Number(number), unsent);
  for (const [number, unsent] of Object.entries(refused)) state.refused.set(Number(number), unsent);
  for (const [revision, unsent] of confirmed) state.confirmed.set(unsent.number, { ...unsent, revision });
  for (const [id, photo] of Object.entries(photos)) state.photos.set(id, photo);
  return state;
}

/** What screens show of a type, by id. */
function shown(rows, type) {
  const isChild = type === "infusion" || type === "note";
  const found = isChild ? [...rows.of("session").peek().keys()].flatMap((session) => rows.ofSession(type, session)) : [...rows.of(type).peek().values()];
  return Object.fromEntries(found.map((row) => [row.id, row]));
}

const COMMANDS = {
  restore: ({ phone, snapshot }) => void phones.set(phone, new MemoryLog(restored(snapshot))),
  snapshot: ({ phone }) => snapshotOf(phones.get(phone).state),
  append: ({ phone, events }) => phones.get(phone).append(() => events).then(() => null),
  write: ({ phone, writes, now_ms }) => {
    const log = phones.get(phone);
    return log.append((state) => writtenEvents(state, log.rows, writes, now_ms)).then(() => null);
  },
  rows: ({ phone, type }) => shown(phones.get(phone).rows, type),
  rebuilt: ({ phone, type }) => shown(new Rows(phones.get(phone).state), type),
  sync: async ({ phone, pull, pageSize, maxChanges, isReversed, streams, echo, now_ms }) => {
    const order = isReversed ? (changes) => changes.reverse() : undefined;
    const log = phones.get(phone);
    const request = requestOf(log.state);
    const stream = streams ? streamOf(request) : undefined;
    return new Sync({ request, stream, log, pageSize, maxChanges, echo, order, now_ms: () => now_ms }).run({ pull });
  },
  forget: ({ phone }) => void phones.delete(phone),
};

for (;;) {
  const { value, done } = await lines.next();
  if (done) break;
  const command = JSON.parse(value);
  try {
    printLine({ result: (await COMMANDS[command.do](command)) ?? null });
  } catch (error) {
    printLine({ error: { name: error.constructor.name, detail: String(error.stack), status: error.status ?? null } });
  }
}
