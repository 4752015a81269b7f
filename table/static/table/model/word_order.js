// Which words are offered first: those of the lot, then those of the team, by how often they were noted.
import { store } from "../parts/store.js";
import { sessionOf } from "./reading.js";

const LOT_WEIGHT = 1000; // any use for this lot counts more than the team's whole past

/** Keys of words, the likeliest at this moment first; words that are rated in every infusion are not among them. */
export function wordsByUse(session, moment) {
  const lot = sessionOf(session)?.fields.lot;
  const ofLot = new Set();
  for (const row of store.rows("session").value.values()) if (lot && row.fields.lot === lot) ofLot.add(row.id);
  const uses = new Map();
  for (const { fields } of store.rows("note").value.values()) {
    if (!fields.descriptor || fields.moment !== moment) continue;
    const weight = ofLot.has(fields.session) ? LOT_WEIGHT : 1;
    uses.set(fields.descriptor, (uses.get(fields.descriptor) ?? 0) + weight);
  }
  const rows = [...store.rows("descriptor").value.values()].filter((row) => !row.fields.rated_each_infusion);
  const used = rows.map((row) => row.fields.key).filter((key) => uses.has(key));
  return [...used.sort((a, b) => uses.get(b) - uses.get(a)), ...byFamily(rows, familiesOf(moment), uses)];
}

/** Words never noted at this moment: in turn one of each family that suits it, then all others. */
function byFamily(rows, families, uses) {
  const fresh = rows.filter((row) => !uses.has(row.fields.key));
  const groups = families.map((family) => fresh.filter((row) => row.fields.family === family));
  const most = Math.max(...groups.map((group) => group.length));
  const inTurn = Array.from({ length: most }, (_none, i) => groups.map((group) => group[i])).flat().filter(Boolean);
  return [...inTurn, ...fresh.filter((row) => !families.includes(row.fields.family))].map((row) => row.fields.key);
}

function familiesOf(moment) {
  if (moment === "liquor") return ["liquor look"];
  if (moment === "spent_leaf") return ["leaf look", "herb and leaf"];
  if (moment === "body") return ["body feeling"];
  if (moment === "finish") return ["finish", "flowers", "sweet kitchen", "taste", "fresh fruit"];
  if (moment === "mouth") return ["flowers", "fresh fruit", "taste", "texture", "sweet kitchen", "nuts and grains"];
  return ["flowers", "fresh fruit", "sweet kitchen", "nuts and grains", "herb and leaf", "wood"];
}
