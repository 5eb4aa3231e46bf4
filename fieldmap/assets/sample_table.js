// The sample table of the app: plain boxes, which lose no key however fast it comes. While a table stands, what is typed
// in it is here, and the server is told; it tells back only what needs a look, or that another table has come.
const TELL_AFTER_MS = 300;

export default function draw({ data, parentElement, setStateValue }) {
  const root = parentElement.querySelector(".sample-table");
  let table = root.sampleTable;
  if (!table || table.turn !== data.turn) {
    table?.stop();
    table = root.sampleTable = makeTable(root, data);
  }
  table.setStateValue = setStateValue;
  table.mark(data.notes);
}

function element(tag, properties = {}) {
  return Object.assign(document.createElement(tag), properties);
}

function makeTable(root, { turn, columns, rows, deleted }) {
  const table = { turn, setStateValue: null, mark, stop: () => clearTimeout(waiting) };
  const gone = deleted.map(([position, cells]) => [position, cells]);
  let waiting = null;
  let changed = false;
  let number = 0;

  const head = element("tr");
  head.append(element("th", { textContent: "row" }));
  for (const { name, says } of columns) head.append(element("th", { textContent: name, title: says }));
  head.append(element("th", { ariaLabel: "delete" }), element("th", { className: "note" }));
  const body = element("tbody");
  const grid = element("table");
  grid.append(element("thead"), body);
  grid.tHead.append(head);
  const frame = element("div", { className: "frame" });
  frame.append(grid);
  const back = element("button", { type: "button", className: "back" });
  const said = element("span", { className: "said", role: "status" });
  const foot = element("div", { className: "foot" });
  foot.append(back, said);
  root.replaceChildren(frame, foot);

  const boxes = (row) => [...row.querySelectorAll("input")];
  const cellsOf = (row) => boxes(row).map((box) => box.value.trim());

  function addRow(cells = [], before = null) {
    const row = element("tr");
    row.append(element("th", { scope: "row" }));
    columns.forEach((_, column) => {
      const cell = element("td");
      cell.append(element("input", { type: "text", value: cells[column] ?? "", autocomplete: "off", spellcheck: false }));
      row.append(cell);
    });
    const last = element("td");
    last.append(element("button", { type: "button", className: "delete", textContent: "×", tabIndex: -1 }));
    row.append(last, element("td", { className: "note" }));
    body.insertBefore(row, before);
    return row;
  }

  // There is always a blank row at the end to go on with. Numbers are those of the file, whose header is row 1.
  function settle() {
    const last = body.lastElementChild;
    if (!last || cellsOf(last).some(Boolean)) addRow();
    [...body.rows].forEach((row, position) => {
      if (row.number === position + 2) return;
      row.number = position + 2;
      row.cells[0].textContent = row.number;
      boxes(row).forEach((box, column) => box.setAttribute("aria-label", `${columns[column].name}, row ${row.number}`));
      row.querySelector("button").setAttribute("aria-label", `Delete row ${row.number}`);
    });
    back.hidden = !gone.length;
    back.textContent = gone.length > 1 ? `Put back the row deleted last (of ${gone.length})` : "Put back the deleted row";
  }

  function tell() {
    clearTimeout(waiting);
    if (!changed || !table.setStateValue) return;
    changed = false;
    table.setStateValue("table", { turn, number: (number = Math.max(number + 1, Date.now())), rows: [...body.rows].map(cellsOf), deleted: gone });
  }

  function tellSoon() {
    changed = true;
    clearTimeout(waiting);
    waiting = setTimeout(tell, TELL_AFTER_MS);
  }

  function mark(notes) {
    [...body.rows].forEach((row) => {
      const text = notes[row.number] ?? "";
      const note = row.querySelector(".note");
      if (note.textContent !== text) note.textContent = text;
    });
  }

  function go(box, down) {
    const row = box.closest("tr");
    const column = boxes(row).indexOf(box);
    const to = down > 0 ? row.nextElementSibling : row.previousElementSibling;
    if (to) boxes(to)[column].focus();
    if (to) boxes(to)[column].select();
  }

  body.addEventListener("input", () => {
    settle();
    tellSoon();
  });
  body.addEventListener("change", tellSoon);
  body.addEventListener("focusout", (event) => event.relatedTarget || tell());
  body.addEventListener("keydown", (event) => {
    if (event.target.tagName !== "INPUT" || event.isComposing) return;
    const down = { Enter: event.shiftKey ? -1 : 1, ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (!down) return;
    event.preventDefault();
    go(event.target, down);
  });
  body.addEventListener("paste", (event) => {
    const text = event.clipboardData.getData("text").replace(/\r\n?/g, "\n").replace(/\n$/, "");
    if (event.target.tagName !== "INPUT" || !/[\t\n]/.test(text)) return;
    event.preventDefault();
    let row = event.target.closest("tr");
    const first = boxes(row).indexOf(event.target);
    const lines = text.split("\n").map((line) => line.split("\t"));
    const left = Math.max(...lines.map((line) => line.length)) + first - columns.length;
    if (left > 0) {
      said.textContent =
        `Nothing was pasted: the block is ${left} column${left > 1 ? "s" : ""} too wide to start here.`;
      return;
    }
    said.textContent = "";
    for (const line of lines) {
      row ??= addRow();
      line.forEach((cell, column) => (boxes(row)[first + column].value = cell.replace(/^"(.*)"$/, "$1").trim()));
      row = row.nextElementSibling;
    }
    settle();
    tellSoon();
  });
  body.addEventListener("click", (event) => {
    if (event.target.className !== "delete") return;
    const row = event.target.closest("tr");
    const cells = cellsOf(row);
    if (cells.some(Boolean)) gone.push([row.rowIndex - 1, cells]);
    row.remove();
    settle();
    tellSoon();
  });
  back.addEventListener("click", () => {
    const [position, cells] = gone.pop();
    while (body.rows.length < position) addRow();
    addRow(cells, body.rows[position] ?? null);
    settle();
    tellSoon();
  });

  rows.forEach((cells) => addRow(cells));
  settle();
  return table;
}
