// Building pieces of the page: elements with attributes, shapes of the office, one dialog for questions.
"use strict";

(() => {
  /**
   * An element. Attributes that are false or null are left out; "on…" are listeners; `data` is the dataset.
   * @param {string} name "p", "button.button.button-first"
   */
  const make = (name, attributes = {}, ...children) => {
    const [tag, ...classes] = name.split(".");
    const element = document.createElement(tag);
    if (classes.length) element.className = classes.join(" ");
    if (tag === "button") element.type = "button";
    for (const [key, value] of Object.entries(attributes)) {
      if (value === false || value === null || value === undefined) continue;
      if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
      else if (key === "data") Object.assign(element.dataset, value);
      else if (key === "value") element.value = value;
      else element.setAttribute(key, value === true ? "" : value);
    }
    element.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== false && child !== ""));
    return element;
  };

  /** One of the office's shapes, drawn into the page as templates. */
  const shape = (name) => {
    const template = document.getElementById(`shape-${name}`);
    return template ? template.content.cloneNode(true) : "";
  };

  /** A word with its shape: never by colour alone. */
  const mark = (name, word, tone = "") => make(`span.mark${tone ? `.mark-${tone}` : ""}`, {}, shape(name), make("span", {}, word));

  const button = (word, act, { first, grave, link, icon, hidden, ...more } = {}) => make(
    `button.button${first ? ".button-first" : ""}${grave ? ".button-grave" : ""}${link ? ".button-link" : ""}`,
    { onclick: act, ...more }, icon ? shape(icon) : "", make("span", {}, word), hidden ? make("span.visually-hidden", {}, ` ${hidden}`) : "");

  /** Replace the children, and keep the focus where it was if the element with the same `data-focus` is still there. */
  const fill = (root, ...children) => {
    const focused = root.contains(document.activeElement) ? document.activeElement.dataset.focus : "";
    root.replaceChildren(...children.flat().filter(Boolean));
    if (focused) root.querySelector(`[data-focus="${CSS.escape(focused)}"]`)?.focus();
    root.hidden = !root.childNodes.length;
  };

  /** Replace only if what is read differs: a live region speaks once. */
  const say = (region, text, ...rest) => {
    if (region.dataset.said === text) return;
    region.dataset.said = text;
    fill(region, ...(rest.length ? rest : [text]));
  };

  /**
   * A question with one text: resolves to the text, or null if the person thought better of it.
   * @param {{title: string, sentence: string, label: string, submit: string, required: boolean, grave: boolean}} wanted
   */
  const question = ({ title, sentence, label, submit, required = true, grave = false }) => new Promise((resolve) => {
    const input = label ? make("input", { id: "dock-question", maxlength: 200, autocomplete: "off", required: required || null }) : null;
    const error = make("p.field-error", { id: "dock-question-error", hidden: true }, shape("stop"), make("span", {}, "Say in a few words why."));
    const dialog = make("dialog.dock-dialog", { "aria-labelledby": "dock-question-title" });
    const close = (answer) => { dialog.close(); dialog.remove(); resolve(answer); };
    const form = make("form.form", { novalidate: true, onsubmit: (event) => {
      event.preventDefault();
      const text = input ? input.value.trim() : "yes";
      if (text || !required) { close(text); return; }
      error.hidden = false;
      input.setAttribute("aria-invalid", "true");
      input.setAttribute("aria-describedby", error.id);
      input.focus();
    } },
    make("h2", { id: "dock-question-title" }, title), make("p", {}, sentence),
    input ? make("div.field", {}, make("label", { for: input.id }, label), input, error) : "",
    make("div.form-actions", {}, make(`button.button${grave ? ".button-grave" : ".button-first"}`, { type: "submit" }, submit),
      button("Leave it as it is", () => close(null))));
    dialog.addEventListener("cancel", (event) => { event.preventDefault(); close(null); });
    dialog.append(form);
    document.body.append(dialog);
    dialog.showModal();
    (input || dialog.querySelector("button")).focus();
  });

  Object.assign(Dock, { make, shape, mark, button, fill, say, question });
})();
