for (const table of document.querySelectorAll("#evidence table")) {
  const body = table.tBodies[0];
  if (!body || body.rows.length < 3) continue;
  const heads = [...table.tHead.rows[0].cells];
  heads.forEach((head, place) => {
    const button = document.createElement("button");
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => {
      const down = head.getAttribute("aria-sort") === "ascending" ? -1 : 1;
      heads.forEach((other) => other.removeAttribute("aria-sort"));
      head.setAttribute("aria-sort", down === 1 ? "ascending" : "descending");
      const text = (row) => row.cells[place].textContent.trim().replace("\u2212", "-");
      const order = (one, other) => {
        const difference = parseFloat(text(one)) - parseFloat(text(other));
        return down * (Number.isNaN(difference) ? text(one).localeCompare(text(other), "en", { numeric: true }) : difference);
      };
      body.append(...[...body.rows].sort(order));
    });
  });
}
