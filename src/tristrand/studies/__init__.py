"""Studies: one module answers one engineering question. Inputs in, a frozen Result out; no study imports another."""
