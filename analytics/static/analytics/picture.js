/* A picture as PNG: the SVG file drawn at twice its size by the browser. Without a script the SVG is there. */
"use strict";
(() => {
  for (const link of document.querySelectorAll("a[data-png]")) {
    link.hidden = false;
    link.addEventListener("click", async (event) => {
      event.preventDefault();
      const answer = await fetch(link.href);
      if (!answer.ok) { location.href = link.href; return; }
      const image = new Image();
      image.src = "data:image/svg+xml;charset=utf-8," + encodeURIComponent(await answer.text());
      await image.decode();
      const canvas = document.createElement("canvas");
      canvas.width = 2 * image.naturalWidth;
      canvas.height = 2 * image.naturalHeight;
      canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
      canvas.toBlob((blob) => {
        const file = document.createElement("a");
        file.href = URL.createObjectURL(blob);
        file.download = link.dataset.png + ".png";
        file.click();
        setTimeout(() => URL.revokeObjectURL(file.href), 10000);
      }, "image/png");
    });
  }
})();
