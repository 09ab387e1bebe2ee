// Served pages alone: asks whether the ledger has changed, and shows the page anew where it has.
"use strict";
(() => {
  const state = document.documentElement.dataset.state;
  const ask = async () => {
    try {
      const answer = await fetch("/state", { cache: "no-store" });
      const now = (await answer.text()).trim();
      if (answer.ok && now !== state) { location.reload(); return; }
    } catch (error) {
      // The server has ended: what is shown stays.
    }
    setTimeout(ask, 1000);
  };
  setTimeout(ask, 1000);
})();
