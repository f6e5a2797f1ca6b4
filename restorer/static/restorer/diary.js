// Dragging a booking over the week opens its page Move with that day and crew chosen; nothing changes before it is sent.
"use strict";

(() => {
  let move = "";
  const cells = document.querySelectorAll("[data-crew][data-day]");
  const unmark = () => cells.forEach((cell) => cell.classList.remove("is-target"));

  for (const booking of document.querySelectorAll("[data-booking]")) {
    booking.draggable = true;
    booking.querySelectorAll("a").forEach((link) => { link.draggable = false; });
    booking.addEventListener("dragstart", (event) => {
      move = booking.dataset.move;
      event.dataTransfer.effectAllowed = "move";
      event.dataTransfer.setData("text/plain", booking.querySelector("a").textContent);
    });
    booking.addEventListener("dragend", () => { move = ""; unmark(); });
  }
  for (const cell of cells) {
    cell.addEventListener("dragover", (event) => {
      if (!move) return;
      event.preventDefault();
      unmark();
      cell.classList.add("is-target");
    });
    cell.addEventListener("drop", (event) => {
      if (!move) return;
      event.preventDefault();
      const asked = new URLSearchParams({ day: cell.dataset.day, crew: cell.dataset.crew });
      location.assign(`${move}?${asked}`);
    });
  }
  const hint = document.querySelector("[data-drag-hint]");
  if (hint && matchMedia("(pointer: fine)").matches) hint.hidden = false;
})();
