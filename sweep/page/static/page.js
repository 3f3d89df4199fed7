/* What the page does in the browser beside its components: theme, data by address, drawings put in place. */
(() => {
  const root = document.documentElement;
  const dark = window.matchMedia("(prefers-color-scheme: dark)");
  const counts = { points: 0, lines: 0, rows: 0, figures: 0 };

  function theme() {
    const kept = localStorage.getItem("wheelfront-theme");
    return kept || (dark.matches ? "dark" : "light");
  }

  function showTheme(name) {
    root.dataset.theme = name;
    if (document.body) {
      document.body.classList.toggle("body--dark", name === "dark");
      document.body.classList.toggle("body--light", name !== "dark");
    }
  }

  function setTheme(name) {
    localStorage.setItem("wheelfront-theme", name);
    showTheme(name);
    return name;
  }

  function otherTheme() {
    return setTheme(theme() === "dark" ? "light" : "dark");
  }

  async function fetched(address, kind) {
    const answer = await fetch(address);
    if (!answer.ok) throw new Error(await answer.text());
    return kind === "text" ? answer.text() : answer.json();
  }

  /* a chart or table may be built a moment after the page: wait for it */
  async function part(id, name) {
    for (let tries = 0; tries < 200; tries += 1) {
      const found = getElement(id);
      if (found && found[name]) return found[name];
      await new Promise((next) => setTimeout(next, 25));
    }
    throw new Error("The page did not get ready: load it anew.");
  }

  function failed(error) {
    const place = document.getElementById("trouble");
    if (place) {
      place.textContent = error.message;
      place.hidden = false;
    }
  }

  async function points(ids, dataset, address) {
    try {
      const [source, ...charts] = await Promise.all([fetched(address), ...ids.map((id) => part(id, "chart"))]);
      for (const chart of charts) chart.setOption({ dataset: [{ id: dataset, source }] });
      counts[dataset === "all" ? "points" : "lines"] += 1;
    } catch (error) {
      failed(error);
    }
  }

  async function rows(id, address, filter) {
    try {
      const [grid, data] = await Promise.all([part(id, "api"), fetched(address)]);
      grid.setGridOption("rowData", data);
      grid.setFilterModel(filter);
      counts.rows += 1;
    } catch (error) {
      failed(error);
    }
  }

  /* the row of a picked design, without telling the server what it knows */
  async function select(id, design) {
    const grid = await part(id, "api");
    const node = grid.getRowNode(design);
    if (node && !node.isSelected()) node.setSelected(true, true);
  }

  /* a drawing takes a moment; what was asked for last is what is shown */
  async function figure(id, address) {
    const place = getHtmlElement(id);
    if (!place) return;
    if (place.dataset.address === address) return;
    place.dataset.address = address;
    place.setAttribute("aria-busy", "true");
    if (!place.firstChild) place.textContent = "Drawing …";
    try {
      const text = await fetched(address, "text");
      if (place.dataset.address !== address) return;
      place.innerHTML = text;
    } catch (error) {
      if (place.dataset.address !== address) return;
      place.textContent = error.message;
      place.dataset.address = "";
    }
    place.removeAttribute("aria-busy");
    counts.figures += 1;
  }

  /* the axes' covers come back in an opaque grey after each drawing */
  async function tint(id) {
    const chart = await part(id, "chart");
    if (chart.tinted) return;
    chart.tinted = true;
    chart.on("rendered", () => {
      const colour = getComputedStyle(root).getPropertyValue("--design").trim();
      for (const shape of chart.getZr().storage.getDisplayList()) {
        if (shape.name === "main" && shape.parent && shape.parent.__brushOption && shape.style.fill !== colour) {
          shape.setStyle({ fill: colour, stroke: colour, opacity: 0.22, lineWidth: 1 });
        }
      }
    });
  }

  /* an image of a chart is nothing to tab into, and its words are read out */
  function describe(id, words) {
    const place = getHtmlElement(id);
    if (place) {
      place.setAttribute("role", "img");
      place.setAttribute("aria-label", words);
    }
  }

  /* a value for a field, which may be built only now */
  async function put(id, value) {
    for (let tries = 0; tries < 80; tries += 1) {
      const field = getHtmlElement(id);
      if (field) {
        if (field.value !== value) field.value = value;
        return;
      }
      await new Promise((next) => setTimeout(next, 25));
    }
  }

  /* the scene stands on the page's own paper */
  function clear(id) {
    const scene = getElement(id);
    if (scene && scene.renderer) scene.renderer.setClearAlpha(0);
  }

  showTheme(theme());
  document.addEventListener("DOMContentLoaded", () => showTheme(theme()));
  window.wheel = { theme, setTheme, otherTheme, points, rows, select, figure, tint, describe, clear, put, counts };
})();
