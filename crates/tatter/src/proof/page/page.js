"use strict";
// Lays "before" over "after" and lets a line between them be moved; one view at a time. Without this, all pictures are there.
(() => {
  const made = (name, properties, ...children) => {
    const element = Object.assign(document.createElement(name), properties);
    element.append(...children);
    return element;
  };

  // A finger that scrolls the page past a picture shall not move its line.
  const SIDEWAYS = 8;

  const live = (compare) => {
    const stage = compare.querySelector(".stage");
    const name = compare.getAttribute("aria-label");
    const range = made("input", { type: "range", min: 0, max: 100, value: 50, ariaLabel: `${name}: where the line between them stands` });
    const show = (share) => {
      range.value = Math.round(Math.min(100, Math.max(0, share)));
      stage.style.setProperty("--at", `${range.value}%`);
      range.setAttribute("aria-valuetext", `${range.value} % before, ${100 - range.value} % after`);
    };
    const whole = (text, share) => {
      const button = made("button", { type: "button", ariaLabel: `${name}: all ${text.toLowerCase()}` }, text);
      button.addEventListener("click", () => show(share));
      return button;
    };
    stage.append(made("div", { className: "line" }));
    compare.append(made("div", { className: "control" }, whole("Before", 100), range, whole("After", 0)));
    compare.classList.add("live");
    range.addEventListener("input", () => show(range.valueAsNumber));

    const under = (event) => {
      const box = stage.getBoundingClientRect();
      return (100 * (event.clientX - box.left)) / box.width;
    };
    let from = null;
    let moves = false;
    stage.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      from = event.clientX;
      moves = event.pointerType === "mouse";
      stage.setPointerCapture(event.pointerId);
      if (moves) {
        event.preventDefault();
        show(under(event));
      }
    });
    stage.addEventListener("pointermove", (event) => {
      if (from === null) return;
      moves ||= Math.abs(event.clientX - from) >= SIDEWAYS;
      if (moves) show(under(event));
    });
    stage.addEventListener("pointerup", (event) => {
      if (from !== null) show(under(event));
      from = null;
    });
    stage.addEventListener("pointercancel", () => (from = null));
    show(50);
  };

  const tabbed = (views) => {
    const panels = [...views.querySelectorAll(".view")];
    if (panels.length < 2) return;
    const tabs = panels.map((panel) => {
      const tab = made("button", { type: "button", id: `${panel.id}-tab`, role: "tab" }, panel.querySelector("h3").textContent);
      tab.setAttribute("aria-controls", panel.id);
      panel.setAttribute("role", "tabpanel");
      panel.setAttribute("aria-labelledby", tab.id);
      return tab;
    });
    const show = (chosen) => {
      tabs.forEach((tab, i) => {
        tab.setAttribute("aria-selected", String(i === chosen));
        tab.tabIndex = i === chosen ? 0 : -1;
        panels[i].hidden = i !== chosen;
      });
    };
    const keys = { ArrowRight: (i) => (i + 1) % tabs.length, ArrowLeft: (i) => (i + tabs.length - 1) % tabs.length, Home: () => 0, End: () => tabs.length - 1 };
    tabs.forEach((tab, i) => {
      tab.addEventListener("click", () => show(i));
      tab.addEventListener("keydown", (event) => {
        const next = keys[event.key]?.(i);
        if (next === undefined) return;
        event.preventDefault();
        show(next);
        tabs[next].focus();
      });
    });
    const list = made("div", { className: "tabs", role: "tablist", ariaLabel: "Sides of the garment" }, ...tabs);
    views.prepend(list);
    views.classList.add("tabbed");
    show(0);
  };

  document.querySelectorAll(".compare").forEach(live);
  document.querySelectorAll(".views").forEach(tabbed);
})();
