// The list fills while the charts are looked at.
const LOOK = 1000; // milliseconds
async function look() {
  const answer = await fetch("/charts").catch(() => null);
  if (!answer?.ok) return;
  const rows = await answer.json();
  for (const row of rows) {
    const place = document.querySelector(`tr[data-number="${row.number}"]`);
    if (!place || !row.ready) continue;
    const cells = row.failed
      ? [[row.failed, 4]]
      : [[row.title], [row.passages], [row.decided || ""], [row.open || ""]];
    place.replaceChildren(
      place.querySelector("th"),
      ...cells.map(([words, span], n) => {
        const cell = document.createElement("td");
        cell.textContent = words;
        if (span) cell.colSpan = span;
        if (n) cell.className = "n";
        return cell;
      }),
    );
  }
  setTimeout(look, rows.every((row) => row.ready) ? 10 * LOOK : LOOK);
}
look();
