export function showSummary(node, summary) { node.replaceChildren(); const h = document.createElement("h1"); h.tabIndex=-1; h.textContent="Summary"; node.append(h); }
