document.documentElement.classList.add("js");
for (const wipe of document.querySelectorAll(".wipe")) {
  const slider = wipe.querySelector("input");
  const set = () => {
    wipe.style.setProperty("--at", slider.value + "%");
    slider.setAttribute("aria-valuetext", slider.value + " % as shot, the rest graded");
  };
  slider.addEventListener("input", set);
  slider.addEventListener("dblclick", () => { slider.value = 50; set(); });
  set();
}
let folded = [];
addEventListener("beforeprint", () => {
  folded = [...document.querySelectorAll("details:not([open])")];
  for (const part of folded) part.open = true;
});
addEventListener("afterprint", () => { for (const part of folded) part.open = false; });
