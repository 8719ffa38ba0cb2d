"use strict";
(() => {
  const root = document.documentElement;
  const byId = (id) => document.getElementById(id);
  const read = (id) => JSON.parse(byId(id).textContent);
  const data = read("chart-data");
  root.classList.add("scripted");

  // Tables ---------------------------------------------------------------------------------------

  function save(button) {
    const table = read(button.dataset.csv);
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([table.text], { type: "text/csv;charset=utf-8" }));
    link.download = table.file;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
    document.querySelector(".saved").textContent = `${table.file} was given to the browser to save.`;
  }

  /** Unfold what a link inside the page points at. */
  function unfold() {
    const target = byId(location.hash.slice(1));
    const folded = target && target.parentElement.querySelector(":scope > details");
    if (folded && target.id.startsWith("table-")) folded.open = true;
  }

  for (const button of document.querySelectorAll("[data-csv]")) {
    button.addEventListener("click", () => save(button));
  }
  window.addEventListener("hashchange", unfold);
  unfold();

  // Cards ----------------------------------------------------------------------------------------

  const fold = (which, open) => document.querySelectorAll(which).forEach((one) => (one.open = open));
  if (matchMedia("(max-width: 46rem)").matches) fold(".granted details", false);
  window.addEventListener("beforeprint", () => fold(".granted details, .words", true));

  // Words and looks ------------------------------------------------------------------------------

  const listed = (names) =>
    names.length > 1 ? `${names.slice(0, -1).join(", ")} and ${names.at(-1)}` : names[0];

  /** Text for the chart library, which would take marks in it for markup. */
  const plain = (text) => text.replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;");

  const lookOf = new Map(data.bands.map((band) => [band.name, band]));
  const style = (name) => getComputedStyle(root).getPropertyValue(name).trim();
  const colourOf = (band) => style(`--band-${lookOf.get(band).colour}`);

  function bandsOn(chart) {
    const boxes = document.querySelectorAll(`input[data-chart="${chart}"]`);
    return [...boxes].filter((box) => box.checked).map((box) => data.bands[Number(box.dataset.band)].name);
  }

  function axis(more) {
    return {
      fixedrange: true,
      gridcolor: style("--line"),
      linecolor: style("--quiet"),
      zerolinecolor: style("--quiet"),
      tickfont: { color: style("--ink") },
      ...more,
    };
  }

  function layout(height, more) {
    const ink = style("--ink");
    return {
      height,
      margin: { l: 52, r: 8, t: 8, b: 48 },
      paper_bgcolor: style("--paper"),
      plot_bgcolor: style("--paper"),
      font: { family: style("--sans"), size: 12, color: ink },
      showlegend: false,
      dragmode: false,
      hoverlabel: {
        bgcolor: style("--card"),
        bordercolor: ink,
        align: "left",
        font: { family: style("--sans"), size: 12, color: ink },
      },
      ...more,
    };
  }

  const config = { displayModeBar: false, responsive: true, scrollZoom: false, doubleClick: false, showTips: false };

  function title(text, x, y) {
    return { text, x, y, xref: "paper", yref: "paper", xanchor: "left", yanchor: "bottom", showarrow: false };
  }

  function nothing(div) {
    const hidden = { visible: false, fixedrange: true };
    const note = { ...title("No band is switched on.", 0.5, 0.5), xanchor: "center" };
    return Plotly.react(div, [], layout(160, { xaxis: hidden, yaxis: hidden, annotations: [note] }), config);
  }

  // Openings -------------------------------------------------------------------------------------

  const [EVENING, LOW, HIGH, CHECKS, HEARD, STATE] = [0, 1, 2, 3, 4, 5];

  function openingWords(band, row) {
    const tail = row[CHECKS] === 1 ? `1 check, ${row[HEARD]} heard` : `${row[CHECKS]} checks, ${row[HEARD]} heard`;
    const [low, high] = [row[LOW], row[HIGH]].map((end) => (end === null ? null : Math.round(end)));
    let words = row[STATE];
    if (low !== null && high !== null) words = `between ${low} and ${high} min`;
    else if (high !== null) words = `open by ${high} min, at the first check`;
    else if (low !== null) words = `not heard by ${low} min`;
    return plain(`${band}: ${words} (${tail})`);
  }

  /** Bars of one panel, its open ends with their triangles, and unseen points that carry the words. */
  function panelTraces(band, rows, yaxis, stub, wide) {
    const bars = { x: [], y: [] };
    const stubs = { x: [], y: [] };
    const ends = { x: [], y: [], symbol: [] };
    const points = { x: [], y: [], text: [] };
    for (const row of rows) {
      const date = data.evenings[row[EVENING]];
      const known = row[LOW] !== null || row[HIGH] !== null;
      const isOpen = known && (row[LOW] === null || row[HIGH] === null);
      const low = row[LOW] ?? row[HIGH] - stub;
      const high = row[HIGH] ?? row[LOW] + stub;
      if (known) {
        const line = isOpen ? stubs : bars;
        line.x.push(date, date, null);
        line.y.push(low, high, null);
      }
      if (isOpen) {
        ends.x.push(date);
        ends.y.push(row[LOW] === null ? low : high);
        ends.symbol.push(row[LOW] === null ? "triangle-down" : "triangle-up");
      }
      points.x.push(date);
      points.y.push(known ? high : 0);
      points.text.push(openingWords(band, row));
    }
    const color = colourOf(band);
    const shared = { type: "scatter", name: plain(band), xaxis: "x", yaxis, hoverinfo: "skip" };
    const line = { ...shared, mode: "lines" };
    const marks = { ...shared, mode: "markers", cliponaxis: false };
    return [
      { ...line, ...bars, line: { color, width: wide } },
      { ...line, ...stubs, line: { color, width: 0.35 * wide } },
      { ...marks, x: ends.x, y: ends.y, marker: { color, size: 9, symbol: ends.symbol } },
      { ...marks, ...points, marker: { color, size: 0.1 }, hoverinfo: "x+text" },
    ];
  }

  function openingsLayout(bands, from, to, height) {
    const day = 86400000;
    const edge = (at, by) => new Date(Date.parse(data.evenings[at]) + by * day).toISOString().slice(0, 16);
    const gap = Math.min(0.4, 26 / height) / Math.max(1, bands.length - 1);
    const each = (1 - gap * (bands.length - 1) - 24 / height) / bands.length;
    const axes = {};
    const annotations = [];
    const step = [10, 30, 60, 120, 240, 480].find((one) => (data.span_min[1] - data.span_min[0]) / one <= 6) ?? 960;
    bands.forEach((band, place) => {
      const top = 1 - 24 / height - place * (each + gap);
      const name = place ? `yaxis${place + 1}` : "yaxis";
      axes[name] = axis({
        domain: [Math.max(0, top - each), top],
        range: data.span_min,
        dtick: step,
        tick0: 0,
        title: { text: "min after sunset", font: { size: 11 }, standoff: 6 },
      });
      annotations.push({ ...title(`<b>${plain(band)}</b>`, 0, top), font: { size: 13 } });
    });
    const xaxis = axis({
      type: "date",
      range: [edge(from, -0.7), edge(to, 0.7)],
      anchor: bands.length > 1 ? `y${bands.length}` : "y",
      tickformat: "%-d %b\n%Y",
      hoverformat: "%Y-%m-%d",
      spikecolor: style("--quiet"),
      spikemode: "marker",
      spikethickness: 4,
      nticks: 8,
      showgrid: false,
    });
    return { ...axes, xaxis, annotations, hovermode: "x unified", hoversubplots: "axis" };
  }

  function openingsSummary(bands, from, to) {
    if (!bands.length) return "No band is switched on.";
    const rows = bands.flatMap((band) => data.openings[band]).filter((row) => row[EVENING] >= from && row[EVENING] <= to);
    const count = (low, high) => rows.filter((row) => (row[LOW] !== null) === low && (row[HIGH] !== null) === high).length;
    return (
      `Shown: ${listed(bands)}, evenings ${data.evenings[from]} to ${data.evenings[to]}. ` +
      `Opened between two checks: ${count(true, true)}; open at the first check already: ${count(false, true)}; ` +
      `not heard by the last: ${count(true, false)}; no usable check: ${count(false, false)}.`
    );
  }

  function chosenEvenings() {
    return [Number(byId("first-evening").value), Number(byId("last-evening").value)];
  }

  function drawOpenings() {
    const div = byId("live-openings");
    const bands = bandsOn("openings");
    if (!bands.length) return nothing(div);
    const [from, to] = chosenEvenings();
    const days = (Date.parse(data.evenings[to]) - Date.parse(data.evenings[from])) / 86400000 + 1.4;
    const wide = Math.min(7, Math.max(1.5, (0.5 * (div.clientWidth - 60)) / days));
    const stub = 0.07 * (data.span_min[1] - data.span_min[0]);
    const height = 72 + bands.length * (bands.length > 1 ? 150 : 260);
    const traces = bands.flatMap((band, place) =>
      panelTraces(band, data.openings[band], place ? `y${place + 1}` : "y", stub, wide),
    );
    return Plotly.react(div, traces, layout(height, openingsLayout(bands, from, to, height - 56)), config);
  }

  // Hours ----------------------------------------------------------------------------------------

  const [FROM, COUNT, HITS, RATIO, BELOW, ABOVE] = [0, 1, 2, 3, 4, 5];
  const percent = (ratio) => (ratio === null ? null : 100 * ratio);

  function rateWords(band, row) {
    const when = `${row[FROM]} to ${row[FROM] + data.half_hour_min} min after sunset`;
    let words = `heard in ${row[HITS]} of ${row[COUNT]} checks`;
    if (row[RATIO] !== null) words += `, ${percent(row[RATIO]).toFixed(0)} %`;
    const interval =
      row[BELOW] === null || row[ABOVE] === null
        ? "no interval"
        : `95 % interval ${percent(row[BELOW]).toFixed(0)} to ${percent(row[ABOVE]).toFixed(0)} %`;
    return `<b>${plain(band)}</b>, ${when}<br>${words}<br>${interval}`;
  }

  function rateTraces(band, rows, aside) {
    const { symbol, dash } = lookOf.get(band);
    const color = colourOf(band);
    const reach = (row, end) =>
      row[end] === null || row[RATIO] === null ? 0 : Math.abs(percent(row[end]) - percent(row[RATIO]));
    const shared = {
      type: "scatter",
      name: plain(band),
      mode: "lines+markers",
      x: rows.map((row) => row[FROM] + data.half_hour_min * (0.5 + 0.7 * aside)),
      line: { color, dash, width: 1.5 },
      text: rows.map((row) => rateWords(band, row)),
      hoverinfo: "text",
    };
    const interval = {
      type: "data",
      symmetric: false,
      array: rows.map((row) => reach(row, ABOVE)),
      arrayminus: rows.map((row) => reach(row, BELOW)),
      color,
      thickness: 1.8,
      width: 0,
    };
    return [
      { ...shared, y: rows.map((row) => percent(row[RATIO])), error_y: interval, marker: { color, symbol, size: 9 } },
      { ...shared, y: rows.map((row) => row[COUNT]), yaxis: "y2", marker: { color, symbol, size: 6 } },
    ];
  }

  function hoursLayout(width) {
    const rows = Object.values(data.hours).flat();
    const starts = rows.map((row) => row[FROM]);
    const [first, last] = [Math.min(...starts), Math.max(...starts) + data.half_hour_min];
    const most = Math.max(1, ...rows.map((row) => row[COUNT]));
    return {
      hovermode: "closest",
      xaxis: axis({
        range: [first, last],
        anchor: "y2",
        tick0: 0,
        dtick: [30, 60, 120].find((step) => (last - first) / step <= width / 48) ?? 240,
        tickangle: 0,
        title: { text: "minutes after sunset", standoff: 8 },
      }),
      yaxis: axis({ domain: [0.38, 1], range: [-3, 103], dtick: 25, title: { text: "heard, % of checks", standoff: 6 } }),
      yaxis2: axis({ domain: [0, 0.29], range: [0, 1.08 * most], nticks: 4, title: { text: "checks", standoff: 6 } }),
    };
  }

  function hoursSummary(bands) {
    if (!bands.length) return "No band is switched on.";
    const rows = bands.flatMap((band) => data.hours[band]);
    const starts = rows.map((row) => row[FROM]);
    const sum = (what) => rows.reduce((total, row) => total + row[what], 0);
    return (
      `Shown: ${listed(bands)}, ${Math.min(...starts)} to ${Math.max(...starts) + data.half_hour_min} minutes after sunset. ` +
      `${sum(HITS)} of ${sum(COUNT)} checks heard something.`
    );
  }

  function drawHours() {
    const div = byId("live-hours");
    const bands = bandsOn("hours");
    if (!bands.length) return nothing(div);
    const traces = bands.flatMap((band, place) =>
      rateTraces(band, data.hours[band], (place + 0.5) / bands.length - 0.5),
    );
    return Plotly.react(div, traces, layout(460, hoursLayout(div.clientWidth - 60)), config);
  }

  // Controls -------------------------------------------------------------------------------------

  const charts = { openings: drawOpenings, hours: drawHours };
  const drawn = Object.keys(charts).filter((name) => byId(`live-${name}`));

  function say(name) {
    const words = name === "openings" ? openingsSummary(bandsOn(name), ...chosenEvenings()) : hoursSummary(bandsOn(name));
    byId(`${name}-summary`).textContent = words;
  }

  /** Keep the two ends in order: the one that is moved pushes the other. */
  function moveEvening(moved) {
    const [first, last] = [byId("first-evening"), byId("last-evening")];
    if (Number(first.value) > Number(last.value)) (moved === first ? last : first).value = moved.value;
    for (const input of [first, last]) {
      const date = data.evenings[Number(input.value)];
      input.setAttribute("aria-valuetext", date);
      byId(`${input.id}-shown`).textContent = date;
    }
  }

  function showAllEvenings() {
    byId("first-evening").value = 0;
    byId("last-evening").value = data.evenings.length - 1;
    moveEvening(byId("last-evening"));
    drawOpenings();
    say("openings");
  }

  function connect() {
    for (const box of document.querySelectorAll("input[data-chart]")) {
      box.addEventListener("change", () => {
        charts[box.dataset.chart]();
        say(box.dataset.chart);
      });
    }
    for (const id of byId("first-evening") ? ["first-evening", "last-evening"] : []) {
      byId(id).addEventListener("input", () => {
        moveEvening(byId(id));
        drawOpenings();
      });
      byId(id).addEventListener("change", () => say("openings"));
    }
    byId("all-evenings")?.addEventListener("click", showAllEvenings);
    const redraw = () => requestAnimationFrame(() => drawn.forEach((name) => charts[name]()));
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redraw);
  }

  // The library is packed; the page's policy lets it run only if it is, byte for byte, the one that
  // was packed.
  async function unpack() {
    const packed = atob(byId("library").textContent);
    const bytes = Uint8Array.from(packed, (mark) => mark.charCodeAt(0));
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
    const script = document.createElement("script");
    script.textContent = await new Response(stream).text();
    document.head.append(script);
    script.remove(); // it has run; a page saved by the browser does not hold it twice
    if (!window.Plotly) throw new Error("the chart library did not start");
  }

  async function start() {
    if (!drawn.length) return;
    await unpack();
    root.classList.add("charted");
    await Promise.all(drawn.map((name) => charts[name]()));
    performance.mark("farhear-drawn");
    connect();
  }

  /** Without the library the plain pictures stay, and the controls that would do nothing go. */
  function giveUp(fault) {
    root.classList.remove("charted");
    for (const one of document.querySelectorAll("fieldset.needs-script")) one.hidden = true;
    const note = document.querySelector(".failed");
    note.hidden = false;
    note.textContent = `This browser cannot run the charts (${fault.message}); plain pictures stand in their place.`;
  }

  start().catch(giveUp).finally(() => {
    root.dataset.charts = root.classList.contains("charted") ? "drawn" : "plain";
  });
})();
