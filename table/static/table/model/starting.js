// A tasting begins: a lot in a pot, or a blind cup as its flight has it brewed; leaf, water and warming are those of last time until changed.
import { store } from "../parts/store.js";
import { onTable, putOnTable, takeOffTable } from "./pour.js";
import { infusionsOf, isClosed, mySessions, sessionOf } from "./reading.js";
import { create } from "./writing.js";

const OF_LAST_TIME = ["leaf_g", "warmed", "water", "water_tds_mg_l", "altitude_m"];
const OF_POT = ["vessel_ml", "vessel_material", "vessel_g"];

/** A bowl that everybody can have, for a team that has written no pot yet: that of GB/T 23776. */
export const COVERED_BOWL = { vessel_ml: 110, vessel_material: "porcelain", leaf_g: 5 };

/** Brew and times of pouring of each protocol, as the page on which scores are written has them. */
const PROTOCOLS = {
  covered_bowl: { brew: COVERED_BOWL, steeps_s: [120, 180, 300] },
  standard_bowl: { brew: { vessel_ml: 150, vessel_material: "porcelain", leaf_g: 3 }, steeps_s: [360] },
};

const known = (fields, names) =>
  Object.fromEntries(names.filter((name) => fields[name] !== undefined && fields[name] !== null).map((name) => [name, fields[name]]));

/** The other shop in which a pot stands, or null. */
export function shopElsewhere({ fields: { shop } }) {
  return shop && shop !== store.account.value?.shop ? (store.shops.value.get(shop) ?? null) : null;
}

/** Pots, those used last first, then those of the taster's shop. */
export function potsByUse() {
  const used = new Map(mySessions().toReversed().map(({ fields }) => [fields.pot, fields.started_at]));
  const isElsewhere = (pot) => Number(Boolean(shopElsewhere(pot)));
  return [...store.rows("pot").value.values()]
    .filter((pot) => !pot.fields.retired)
    .sort(
      (a, b) =>
        (used.get(b.id) ?? "").localeCompare(used.get(a.id) ?? "") ||
        isElsewhere(a) - isElsewhere(b) ||
        a.fields.name.localeCompare(b.fields.name),
    );
}

/** What a pot's next tasting starts with: `pot` is a record, or null for the covered bowl. */
export function brewOf(pot) {
  const last = mySessions().find(({ fields }) => (fields.pot ?? null) === (pot?.id ?? null))?.fields ?? {};
  const own = pot?.fields ?? COVERED_BOWL;
  return { leaf_g: COVERED_BOWL.leaf_g, warmed: true, ...known(own, ["leaf_g"]), ...known(last, OF_LAST_TIME), ...known(own, OF_POT) };
}

/** Start a session, put it on the table, and return its id; `steep_s` is that of an infusion served at once, if any. */
async function begin(of, steep_s) {
  const id = store.newId();
  const { shop } = store.account.value ?? {};
  const fields = { ...of, ...(shop ? { shop } : {}), started_at: store.now().toISOString() };
  const first = { type: "infusion", id: store.newId(), fields: { session: id, number: 1, steep_s } };
  await store.write([{ type: "session", id, fields }, ...(steep_s ? [first] : [])]);
  await putOnTable(id);
  return id;
}

/** How the cups of a flight are brewed and poured; a small pot is the shop's usual one, and nobody wrote its times. */
export function protocolOf({ protocol }) {
  const usual = store.shops.value.get(store.account.value?.shop)?.usual_pot;
  const pot = store.rows("pot").value.get(usual);
  const brew = { ...COVERED_BOWL, ...(pot && { pot: usual, ...known(pot.fields, ["leaf_g", ...OF_POT]) }) };
  return PROTOCOLS[protocol] ?? { brew, steeps_s: [] };
}

/** Start a served cup; those that are scored leave the table. */
export async function startCup(cup, flight) {
  for (const id of onTable()) if (sessionOf(id)?.fields.flight_cup && isClosed(sessionOf(id))) await takeOffTable(id);
  const { brew, steeps_s } = protocolOf(flight);
  return begin({ flight_cup: cup.id, purpose: "selection", ...brew }, steeps_s[0]);
}

/** Write the next infusion of a served cup, poured when the protocol says; return how to take it back. */
export async function serveNext(session, flight) {
  const n = infusionsOf(session).length;
  const { undo } = await create("infusion", { session, number: n + 1, steep_s: protocolOf(flight).steeps_s[n] });
  return undo;
}

/** Start the tasting of a lot; `of` is {lot}, with a purpose or without. */
export async function startTasting(of, pot) {
  const id = await begin({ ...of, ...(pot ? { pot: pot.id } : {}), ...brewOf(pot) });
  const isOlder = ({ fields: { lot }, id: session }) => lot === of.lot && !store.isHere(session);
  if ([...store.rows("session").value.values()].some(isOlder)) store.needLot(of.lot); // its words are offered first
  return id;
}
