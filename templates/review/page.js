// What every page does: it is told when the plan changes, here or elsewhere.
export const version = () => Number(document.body.dataset.version);
