// Looks at the page it was put into, and tells the page around it what is wrong: one line a finding.
"use strict";
addEventListener("load", () => {
  const found = [];
  const root = document.documentElement;
  const wide = root.clientWidth;
  const short = (text) => text.trim().replace(/\s+/g, " ").slice(0, 60);

  // Nothing reaches beyond the page; what is wider scrolls inside its own box.
  if (root.scrollWidth > wide) {
    const scrolls = (node) => node !== root && ["auto", "scroll"].includes(getComputedStyle(node).overflowX);
    const held = (node) => node && (scrolls(node) || held(node.parentElement));
    const out = [...document.body.querySelectorAll("*")].filter(
      (node) => node.getBoundingClientRect().right > wide + 0.5 && !held(node.parentElement));
    const names = out.slice(0, 3).map((node) => `${node.tagName} ${short(node.textContent)}`);
    found.push(`overflow: ${root.scrollWidth} of ${wide} px: ${names.join("; ")}`);
  }

  // Brightness and contrast as WCAG 2.1 defines them.
  const parts = (colour) => (colour.match(/[\d.]+/g) || []).map(Number);
  const brightness = (colour) => {
    const [r, g, b] = parts(colour).slice(0, 3).map((c) => c / 255)
      .map((c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const contrast = (a, b) => {
    const [high, low] = [brightness(a), brightness(b)].sort((x, y) => y - x);
    return (high + 0.05) / (low + 0.05);
  };
  const clear = (colour) => parts(colour).length === 4 && parts(colour)[3] === 0;
  const ground = (node) => {
    const colour = getComputedStyle(node).backgroundColor;
    return !clear(colour) || !node.parentElement ? colour : ground(node.parentElement);
  };
  const legible = (text, ink, on) => {
    if (contrast(ink, on) < 4.5) found.push(`contrast ${contrast(ink, on).toFixed(1)}: ${short(text)}`);
  };
  for (const node of document.body.querySelectorAll("*:not(svg):not(svg *):not(script)")) {
    const own = [...node.childNodes].some((child) => child.nodeType === 3 && child.data.trim());
    if (own) legible(node.textContent, getComputedStyle(node).color, ground(node));
  }

  const box = (node) => {
    const { left, right, top, bottom } = node.getBoundingClientRect();
    return { left, right, top, bottom, text: short(node.textContent) };
  };
  // Boxes of lines are higher than their letters.
  const meet = (a, b) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1
    && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 0.35 * (a.bottom - a.top);
  for (const svg of document.querySelectorAll("svg:not([aria-hidden])")) {
    const [title, desc] = svg.children;
    const told = title && desc && title.tagName === "title" && desc.tagName === "desc"
      && title.textContent.trim() && desc.textContent.trim();
    const ids = (svg.getAttribute("aria-labelledby") || "").split(" ");
    if (!told || svg.getAttribute("role") !== "img" || !ids.every((id) => document.getElementById(id))) {
      found.push(`picture without title or description: ${short(svg.textContent)}`);
      continue;
    }
    const name = short(title.textContent);
    const field = box(svg);
    const texts = [...svg.querySelectorAll("text")];
    const boxes = texts.map(box);
    for (const [k, one] of boxes.entries()) {
      if (one.left < field.left - 1 || one.right > field.right + 1 || one.top < field.top - 1 || one.bottom > field.bottom + 1) {
        found.push(`clipped in ${name}: ${one.text}`);
      }
      for (const other of boxes.slice(0, k)) {
        if (meet(one, other)) found.push(`overlap in ${name}: ${one.text} / ${other.text}`);
      }
      legible(one.text, getComputedStyle(texts[k]).fill, ground(svg));
    }
  }

  const dark = matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light";
  parent.postMessage({ name: location.pathname.split("/").pop(), wide: innerWidth, dark, found }, "*");
});
