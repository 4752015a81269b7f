// A tasting begins: a lot or a blind cup, in a pot; leaf, water and warming are those of last time until changed.
import { store } from "../parts/store.js";
import { putOnTable } from "./pour.js";
import { mySessions } from "./reading.js";

const OF_LAST_TIME = ["leaf_g", "warmed", "water", "water_tds_mg_l", "altitude_m"];
const OF_POT = ["vessel_ml", "vessel_material", "vessel_g"];

/** A bowl that everybody can have, for a team that has written no pot yet: that of GB/T 23776. */
export const COVERED_BOWL = { vessel_ml: 110, vessel_material: "porcelain", leaf_g: 5 };

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

/** Start it and put it on the table; `of` is {lot} or {flight_cup}. */
export async function startTasting(of, pot) {
  const id = store.newId();
  const { shop } = store.account.value ?? {};
  const fields = {
    ...of,
    ...(shop ? { shop } : {}),
    ...(pot ? { pot: pot.id } : {}),
    started_at: store.now().toISOString(),
    ...brewOf(pot),
  };
  await store.write([{ type: "session", id, fields }]);
  await putOnTable(id);
  const isOlder = ({ fields: { lot }, id: session }) => lot === of.lot && !store.isHere(session);
  if (of.lot && [...store.rows("session").value.values()].some(isOlder)) store.needLot(of.lot); // its words are offered first
  return id;
}
