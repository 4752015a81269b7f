// What the codes of records are called.
import { _, pgettext } from "./i18n.js";

export const kinds = () => [
  ["oolong", pgettext("kind of tea", "Oolong")],
  ["green", pgettext("kind of tea", "Green tea")],
  ["white", pgettext("kind of tea", "White tea")],
  ["yellow", pgettext("kind of tea", "Yellow tea")],
  ["black", pgettext("kind of tea", "Black tea")],
  ["dark", pgettext("kind of tea", "Dark tea")],
  ["scented", pgettext("kind of tea", "Scented tea")],
  ["herbal", pgettext("kind of tea", "Herbal infusion")],
];

export const materials = () => [
  ["porcelain", pgettext("vessel material", "porcelain")],
  ["unglazed_clay", pgettext("vessel material", "unglazed clay")],
  ["glazed_stoneware", pgettext("vessel material", "glazed stoneware")],
  ["glass", pgettext("vessel material", "glass")],
  ["silver", pgettext("vessel material", "silver")],
  ["cast_iron", pgettext("vessel material", "cast iron")],
];

/** Forms of the finished leaf. */
export const forms = () => [
  ["rolled", pgettext("form of leaf", "rolled")],
  ["twisted", pgettext("form of leaf", "twisted")],
  ["needle", pgettext("form of leaf", "needle")],
  ["flat", pgettext("form of leaf", "flat")],
  ["broken", pgettext("form of leaf", "broken")],
  ["compressed", pgettext("form of leaf", "compressed")],
  ["powder", pgettext("form of leaf", "powder")],
];

export const roasts = () => [
  ["none", pgettext("roast", "unroasted")],
  ["light", pgettext("roast", "light roast")],
  ["medium", pgettext("roast", "medium roast")],
  ["medium_dark", pgettext("roast", "medium dark roast")],
  ["dark", pgettext("roast", "dark roast")],
];

/** Countries that grow tea or trade in it, by ISO 3166-1 alpha-2; the browser knows their names. */
export const countries = "AR AZ BD BR BT CN CO GB GE HK ID IN IR JP KE KR LA LK MM MW MY MZ NP NZ PT RU RW TH TR TW TZ UG US VN ZA ZW".split(" ");

export const leafMoments = () => [
  ["dry_leaf", pgettext("moment of a note", "dry leaf")],
  ["warmed_leaf", pgettext("moment of a note", "warmed leaf")],
  ["wet_leaf", pgettext("moment of a note", "wet leaf")],
];

export const cupMoments = () => [
  ["mouth", pgettext("moment of a note", "mouth")],
  ["finish", pgettext("moment of a note", "finish")],
  ["liquor", pgettext("moment of a note", "liquor")],
  ["lid", pgettext("moment of a note", "lid")],
  ["empty_cup", pgettext("moment of a note", "empty cup")],
  ["body", pgettext("moment of a note", "body")],
];

export const labelIn = (pairs, code) => pairs.find(([key]) => key === code)?.[1] ?? code;

export const kindLabel = (code) => labelIn(kinds(), code);
export const materialLabel = (code) => labelIn(materials(), code);

/** Which number an infusion has, in words. */
export const infusionLabel = (n) => (n === 0 ? _("Rinse") : _("Infusion %(n)s", { n }));

/** What keeps the phone from sending, in words; the codes are those of the store's link. */
export const troubleWords = (code) =>
  ({
    signed_out: _("This phone is signed out. Sign in again to send; nothing is lost."),
    app_too_old: _("This version of the app is too old for the server. Load the new one."),
    server_full: _("The server's disk is full. Everything stays on this phone until it takes it."),
    server_trouble: _("The server refuses at the moment. Everything stays on this phone until it takes it."),
  })[code];

/** Why something that needs the network failed, in words. */
export const failureWords = ({ status, problem, message }) =>
  !status ? _("There is no network.") : problem?.title ? message : troubleWords("server_trouble");

export const scalding = () =>
  _("Hot water scalds at once; keep kettle and pot away from children and pour away from the hand.");
export const hotDrink = () =>
  _(
    "Let the cup cool below 65 °C before drinking: drinking hotter than that is classed as probably carcinogenic (IARC Monograph 116).",
  );
export const caffeine = () =>
  _("Many cups of tea add up to much caffeine: offer a spittoon, water and rests between sittings.");
export const herbal = () =>
  _(
    "What a herbal lot holds, caffeine and allergens among it, is not known here: ask its supplier, and a doctor or pharmacist where it matters.",
  );
