/* A chart wider than its place begins at its last months, not at its first. Without a script it begins at its first. */
"use strict";
for (const place of document.querySelectorAll(".over-time .chart > .scrolls")) place.scrollLeft = place.scrollWidth;
