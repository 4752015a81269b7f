// Runs the app's own state and sync through the files of the kit: node app.mjs <folder of table/static/table> <file>…
// Prints what differs, one line each; nothing when all is as recorded.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { pathToFileURL } from "node:url";

const [folder, ...files] = process.argv.slice(2);
const load = (/** @type {string} */ name) => import(pathToFileURL(`${folder}/data/${name}.js`).href);
const { emptyState, changesOf, applyChanges } = await load("state");
const { RefusedError, SignedOutError, UnreachableError, linesOf } = await load("requests");
const { eventNames } = await load("live");
const { Rows } = await load("rows");
const { Sync } = await load("sync");

/** The app's memory without a disk. */
class Log {
  state = emptyState();

  async append(make) {
    for (const event of make(this.state)) applyChanges(this.state, changesOf(this.state, event));
  }
}

function withoutLimit({ method, path, body }) {
  const { limit, ...rest } = body ?? {};
  return { method, path, body: rest };
}

function idsOf(rows, type) {
  return ["infusion", "note"].includes(type) ? rows.all(type).map((row) => row.id) : [...rows.of(type).value.keys()];
}

/** A phone of the app that gets the recorded answers. */
class Phone {
  log = new Log();
  exchanges = [];
  /** The server's time as last learnt. */
  now = null;
  options = {
    echo: true,
    log: this.log,
    request: (...request) => this.request(...request),
    onClock: (now) => {
      this.now = now;
    },
  };
  sync = new Sync(this.options);

  exchange(method, path, body) {
    const exchange = this.exchanges.shift();
    assert(exchange, `${method} ${path} was not recorded`);
    assert.deepEqual(withoutLimit({ method, path, body }), withoutLimit(exchange.request));
    const { answer } = exchange;
    if (answer === null) throw new UnreachableError("as recorded");
    this.status = answer.status;
    if (answer.status < 400) return answer;
    const Refusal = answer.status === 401 ? SignedOutError : RefusedError;
    throw new Refusal(answer.body.title, { status: answer.status, problem: answer.body });
  }

  async request(method, path, { body } = {}) {
    return this.exchange(method, path, body).body;
  }

  async stream(path, body, onLine) {
    const { lines, broken = "" } = this.exchange("POST", path, body);
    const text = lines.map((line) => `${JSON.stringify(line)}\n`).join("") + broken;
    for await (const line of linesOf(new Response(text).body)) await onLine(JSON.parse(line));
  }

  async statusOf(sending) {
    try {
      await sending();
      return 200;
    } catch (error) {
      if (error instanceof UnreachableError) return null;
      if (error instanceof RefusedError) return error.status;
      throw error;
    }
  }

  known() {
    const { records, outbox, refused, confirmed } = this.log.state;
    const rows = new Rows(this.log.state);
    const types = new Set([...records.values()].map((one) => one.type));
    for (const one of [...outbox.values(), ...confirmed.values()]) types.add(one.change.type);
    return {
      unsent: [...outbox.keys()].sort((a, b) => a - b),
      kept: [...outbox.keys(), ...refused.keys()].sort((a, b) => a - b),
      refused: Object.fromEntries([...refused].map(([number, one]) => [number, one.problems[0].code])),
      pulled: Object.fromEntries([...records].map(([id, { type, revision, by, fields }]) => [id, { type, revision, by, fields }])),
      shown: [...types].flatMap((type) => idsOf(rows, type)).sort(),
    };
  }

  async play({ do: what, ...step }) {
    if (what === "sign_in") return this.log.append(() => [{ event: "signed", token: "of the test" }]);
    if (what === "scope") return this.log.append(() => [{ event: "scoped", scope: step.scope }]);
    if (what === "stream") {
      this.sync = new Sync({ ...this.options, stream: (...request) => this.stream(...request) });
      return undefined;
    }
    if (what === "no_echo") {
      this.sync = new Sync({ ...this.options, echo: false });
      return undefined;
    }
    if (what === "events") {
      this.exchanges = [...step.exchanges];
      for await (const name of eventNames(new Response(step.text).body)) if (name === "changed") await this.sync.run();
      return assert.equal(this.exchanges.length, 0, "not all requests were sent");
    }
    if (what === "write") {
      const { change, creates } = step;
      return this.log.append(() => [{ event: "written", number: change.seq, begins: creates, change }]);
    }
    if (what === "expect") {
      const known = this.known();
      return assert.deepEqual(Object.fromEntries(Object.keys(step).map((name) => [name, known[name]])), step);
    }
    assert(["sync", "request"].includes(what), `a step called ${what} is not known`);
    this.exchanges = [...step.exchanges];
    const { method, path, body } = this.exchanges[0].request;
    this.now = null;
    const sending = what === "sync" ? () => this.sync.run() : () => this.request(method, path, { body });
    const status = await this.statusOf(sending);
    assert.equal(what === "request" && status === 200 ? this.status : status, step.ends_with);
    assert.equal(this.exchanges.length, 0, "not all requests were sent");
    if (what === "sync" && status === 200) assert(this.now, "the server's time was not learnt");
  }
}

for (const file of files) {
  const { device, steps } = JSON.parse(readFileSync(file, "utf-8"));
  const phone = new Phone();
  await phone.log.append(() => [{ event: "begun", device }]);
  for (const [number, step] of steps.entries()) {
    try {
      await phone.play(step);
    } catch (error) {
      console.log(`${file}, step ${number}: ${error.message.replaceAll("\n", " ")}`);
      break;
    }
  }
}
