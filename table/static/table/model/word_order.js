// Which words are offered first: those of the lot, then those of the team, by how often they were noted.
import { store } from "../parts/store.js";
import { descriptors, sessionOf } from "./reading.js";

const LOT_WEIGHT = 1000; // any use for this lot counts more than the team's whole past

/** Keys of words, the likeliest at this moment first; words that are rated in every infusion are not among them. */
export function wordsByUse(session, moment) {
  const lot = sessionOf(session)?.fields.lot;
  const ofLot = new Set();
  for (const row of store.rows("session").value.values()) if (lot && row.fields.lot === lot) ofLot.add(row.id);
  const uses = new Map();
  for (const { fields } of store.allRows("note")) {
    if (!fields.descriptor || fields.moment !== moment) continue;
    const weight = ofLot.has(fields.session) ? LOT_WEIGHT : 1;
    uses.set(fields.descriptor, (uses.get(fields.descriptor) ?? 0) + weight);
  }
  const words = [...descriptors.value.values()].filter((word) => !word.rated_each_infusion);
  const used = words.map((word) => word.key).filter((key) => uses.has(key));
  const fresh = words.filter((word) => !uses.has(word.key));
  return [...used.sort((a, b) => uses.get(b) - uses.get(a)), ...byFamily(fresh, familiesOf(moment))];
}

/** Keys of words never noted at this moment: in turn one of each family that suits it, then all others. */
function byFamily(words, families) {
  const groups = families.map((family) => words.filter((word) => word.family === family));
  const most = Math.max(...groups.map((group) => group.length));
  const inTurn = Array.from({ length: most }, (_none, i) => groups.map((group) => group[i])).flat().filter(Boolean);
  return [...inTurn, ...words.filter((word) => !families.includes(word.family))].map((word) => word.key);
}

function familiesOf(moment) {
  if (moment === "liquor") return ["liquor look"];
  if (moment === "spent_leaf") return ["leaf look", "herb and leaf"];
  if (moment === "body") return ["body feeling"];
  if (moment === "finish") return ["finish", "flowers", "sweet kitchen", "taste", "fresh fruit"];
  if (moment === "mouth") return ["flowers", "fresh fruit", "taste", "texture", "sweet kitchen", "nuts and grains"];
  return ["flowers", "fresh fruit", "sweet kitchen", "nuts and grains", "herb and leaf", "wood"];
}
