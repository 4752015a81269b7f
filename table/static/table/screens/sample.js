// A new sample: its name and kind now, the rest later.
import { create } from "../model/writing.js";
import { Choice } from "../parts/fields.js";
import { Frame } from "../parts/frame.js";
import { Component, html } from "../parts/html.js";
import { _ } from "../parts/i18n.js";
import { herbal, kinds } from "../parts/labels.js";
import { goInstead } from "../parts/route.js";
import { local, store } from "../parts/store.js";

export class SampleScreen extends Component {
  state = { name: "", kind: local("lastKind", null) };

  keep = async (event) => {
    event.preventDefault();
    const name = this.state.name.trim();
    const { kind } = this.state;
    if (!name || !kind) return;
    const { id } = await create("lot", { name, kind, status: "sample" });
    await store.setLocal("lastKind", kind);
    goInstead("pot", "lot", id);
  };

  render() {
    const { name, kind } = this.state;
    const isReady = Boolean(name.trim() && kind);
    const button = html`<div class="start"><button type="submit" form="sample" class="wide" disabled=${!isReady}>${_("Keep and go on")}</button></div>`;
    return html`<${Frame} title=${_("New sample")} bottom=${button}>
      <form id="sample" onSubmit=${this.keep}>
        <label for="name">${_("Name")}</label>
        <input id="name" ref=${this.setInput} autocomplete="off" maxlength="200" required value=${name} onInput=${(event) => this.setState({ name: event.currentTarget.value })} />
        <${Choice} label=${_("Kind")} options=${kinds()} value=${kind} onChoose=${(value) => this.setState({ kind: value })} />
        ${kind === "herbal" && html`<p class="hint">${herbal()}</p>`}
      </form>
    </${Frame}>`;
  }

  setInput = (input) => {
    if (input && !this.input) input.focus();
    this.input = input;
  };
}
