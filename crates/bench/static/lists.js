// Every table of a sheet: sorted by a touch on a head, filtered by a word, taken along as CSV. Without script the tables
// stand as they are, and whole lists are still had as files.
const words = document.body.dataset;
const text = cell => (cell?.innerText ?? '').trim();
const value = cell => {
  const plain = text(cell).replace(/[\s  ]/g, '').replace('−', '-').replace(',', '.');
  const number = parseFloat(plain);
  return /^[-\d.]/.test(plain) && !/^\d{4}-\d\d/.test(plain) && !Number.isNaN(number) ? number : null;
};

function sorted(table, column, down) {
  const body = table.tBodies[0];
  const rows = [...body.rows];
  const order = new Intl.Collator(document.documentElement.lang, { numeric: true });
  rows.sort((a, b) => {
    const [x, y] = [value(a.cells[column]), value(b.cells[column])];
    const way = x !== null && y !== null ? x - y : order.compare(text(a.cells[column]), text(b.cells[column]));
    return down ? -way : way;
  });
  body.append(...rows);
}

function heads(table) {
  const all = [...table.tHead.rows[0].cells];
  all.forEach((head, column) => {
    if (!text(head)) return;
    const button = document.createElement('button');
    button.type = 'button';
    button.className = 'sortb';
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener('click', () => {
      const down = head.ariaSort === 'ascending';
      all.forEach(other => other.removeAttribute('aria-sort'));
      head.ariaSort = down ? 'descending' : 'ascending';
      sorted(table, column, down);
    });
  });
}

function csv(table) {
  const quoted = cell => '"' + text(cell).replaceAll('"', '""') + '"';
  const rows = [...table.rows].filter(row => !row.hidden);
  return rows.map(row => [...row.cells].map(quoted).join(',')).join('\r\n') + '\r\n';
}

function tools(table, index) {
  const bar = document.createElement('div');
  bar.className = 'tools noprint';
  const label = document.createElement('label');
  label.textContent = words.filter + ' ';
  const field = document.createElement('input');
  field.type = 'search';
  field.className = 'words-in';
  field.autocomplete = 'off';
  label.append(field);
  const save = document.createElement('button');
  save.type = 'button';
  save.className = 'btn';
  save.textContent = words.csv;
  const count = document.createElement('span');
  count.setAttribute('role', 'status');
  field.addEventListener('input', () => {
    const part = field.value.trim().toLowerCase();
    let shown = 0;
    for (const row of table.tBodies[0].rows) {
      row.hidden = !text(row).toLowerCase().includes(part);
      shown += !row.hidden;
    }
    count.textContent = part ? `${shown} / ${table.tBodies[0].rows.length}` : '';
  });
  save.addEventListener('click', () => {
    const link = document.createElement('a');
    link.href = URL.createObjectURL(new Blob([csv(table)], { type: 'text/csv' }));
    link.download = `${document.title.split(' · ')[0]}-${index + 1}.csv`;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  });
  bar.append(label, count, save);
  (table.closest('.tscroll') ?? table).before(bar);
}

[...document.querySelectorAll('main table')].forEach((table, index) => {
  if (!table.tHead || !table.tBodies[0] || table.tBodies[0].rows.length < 2) return;
  heads(table);
  if (table.tBodies[0].rows.length > 7) tools(table, index);
});
