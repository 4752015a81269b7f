// Words, checked by one tap: the likeliest first, all of them by search, how strong each is if one likes.
import { descriptors, isRatedWord, matches, noteOf, notesAt, wordLabel } from "../model/reading.js";
import { wordsByUse } from "../model/word_order.js";
import { create, note, unnote } from "../model/writing.js";
import { once } from "./fields.js";
import { Component, html } from "./html.js";
import { _ } from "./i18n.js";
import { cupMoments, labelIn } from "./labels.js";
import { RatingLine } from "./rating_line.js";
import { store } from "./store.js";
import { did } from "./undo.js";

const OFFERED = 14;
const FOUND = 24;

/** A key that the server takes: small Latin letters, digits and _; what is left of another script is made unique. */
function keyOf(label) {
  const plain = label.normalize("NFD").toLowerCase().replace(/[^a-z0-9]+/g, "_").replace(/^[^a-z]+|_+$/g, "");
  const isFree = plain && !descriptors.value.has(plain.slice(0, 60));
  return isFree ? plain.slice(0, 60) : `w_${store.newId().replaceAll("-", "")}`;
}

/** Props: session, infusion (id or null), moment, notes (of the session), onAsk(key of a rated word) where there are lines. */
export class Words extends Component {
  state = { typed: "" };

  /** The order stays while a moment is open: chips that move are tapped wrongly. */
  order(moment) {
    if (this.ordered?.moment !== moment) this.ordered = { moment, keys: wordsByUse(this.props.session, moment) };
    return this.ordered.keys;
  }

  toggle = async (key) => {
    const { session, infusion, moment, notes, onAsk } = this.props;
    this.setState({ typed: "" });
    if (isRatedWord(key)) return onAsk(key);
    const row = noteOf(notes, infusion, moment, key);
    const words = { word: wordLabel(key) };
    if (row) did(_("%(word)s taken away", words), await unnote(row));
    else did(_("%(word)s noted", words), await note(session, infusion, moment, key));
  };

  add = async () => {
    const label = this.state.typed.trim().slice(0, 80);
    const key = keyOf(label);
    await create("descriptor", { key, label });
    this.ordered?.keys.push(key);
    await this.toggle(key);
  };

  /** Keys of what matches, rated words first: those of the app are, and no team has many. */
  found() {
    const found = [...descriptors.value.values()].filter((word) => matches(this.state.typed, word.label, wordLabel(word.key), ...(word.synonyms ?? [])));
    return found.map((word) => word.key).sort((a, b) => isRatedWord(b) - isRatedWord(a));
  }

  /** What is offered, and what is noted besides; of a leaf apart what is seen and what is smelled. */
  groups(moment, noted) {
    const keys = this.order(moment);
    const first = (of, most) => {
      const offered = of.slice(0, most);
      return [...offered, ...noted.filter((key) => of.includes(key) && !offered.includes(key))];
    };
    if (!moment.endsWith("_leaf")) return [["", first(keys, OFFERED)]];
    const isLook = (key) => descriptors.value.get(key)?.family === "leaf look";
    return [[_("Look"), first(keys.filter(isLook), OFFERED / 2)], [_("Smell"), first(keys.filter((key) => !isLook(key)), OFFERED / 2)]];
  }

  render({ infusion, moment, notes, onAsk }) {
    const noted = notesAt(notes, infusion, moment)
      .map((row) => row.fields.descriptor)
      .filter((key) => key && !isRatedWord(key));
    const isSearching = Boolean(this.state.typed.trim());
    const found = isSearching ? this.found() : [];
    const isAsked = (key) => onAsk || !isRatedWord(key);
    const groups = isSearching ? [["", found.filter(isAsked).slice(0, FOUND)]] : this.groups(moment, noted);
    const chip = (key) => html`<li key=${key}><button type="button" class="chip" aria-pressed=${noted.includes(key)} onClick=${once(() => this.toggle(key))}>${wordLabel(key)}</button></li>`;
    const id = `word-${moment}`;
    return html`<div class="words">
      ${groups.map(([name, keys]) => html`${name && html`<h3>${name}</h3>`}<ul class="chips">
        ${keys.map(chip)}
        ${isSearching && found.length === 0 &&
        html`<li><button type="button" class="chip" onClick=${this.add}>${_("Add “%(word)s” to the words", { word: this.state.typed.trim() })}</button></li>`}
      </ul>`)}
      <label class="unseen" for=${id}>${_("Find a word")}</label>
      <input id=${id} type="search" autocomplete="off" placeholder=${_("Find a word")} value=${this.state.typed}
        onInput=${(event) => this.setState({ typed: event.currentTarget.value })} />
    </div>`;
  }
}

/** A noted word that can be rated; closed it is one row. Props: session, infusion, row, last (points or null), isPlain. */
export class NotedWord extends Component {
  state = { open: this.props.last !== null };

  render({ session, infusion, row, last }) {
    const { descriptor, moment, intensity } = row.fields;
    const where = moment === "mouth" || this.props.isPlain ? "" : ` (${labelIn(cupMoments(), moment)})`;
    const label = wordLabel(descriptor) + where;
    const rate = async (points) => {
      did(_("%(word)s rated", { word: label }), await note(session, infusion, moment, descriptor, points));
    };
    if (!this.state.open) {
      return html`<button type="button" class="noted" aria-expanded="false" onClick=${() => this.setState({ open: true })}>
        <span>${label}</span><span class="soft">${typeof intensity === "number" ? _("rated") : _("How strong?")}</span>
      </button>`;
    }
    return html`<${RatingLine} id=${`rate-${row.id}`} label=${label} low=${_("hardly there")} high=${_("very strong")}
      value=${intensity ?? null} last=${last} onRate=${rate} onClear=${() => rate(null)} />`;
  }
}
