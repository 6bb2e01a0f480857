// Which screen is shown: its name stands behind the # of the address, then what it is about: #history/PL80-0007.

export class Router {
  /** `screens`: {name: {title, open(main, about) -> {state?, link?, close?}}}; the first one is home. */
  constructor(main, nav, screens) {
    Object.assign(this, { main, nav, screens, home: Object.keys(screens)[0], name: "", about: "", open: null });
    window.addEventListener("hashchange", () => this.follow(true));
  }

  follow(moved = false) {
    const [name, ...rest] = location.hash.slice(1).split("/");
    const about = decoded(rest.join("/"));
    const known = name in this.screens ? name : this.home;
    if (known === this.name && about === this.about) return;
    this.open?.close?.();
    [this.name, this.about] = [known, about];
    const screen = this.screens[known];
    this.main.replaceChildren();
    this.main.className = `screen-${known}`;
    document.title = `${screen.title}: steadyohm`;
    this.mark();
    this.open = screen.open(this.main, about) ?? {};
    if (moved) this.main.focus({ preventScroll: true });
    window.scrollTo(0, 0);
    this.changed?.();
  }

  mark() {
    for (const link of this.nav.querySelectorAll("a")) {
      if (link.hash.slice(1).split("/")[0] === this.name) link.setAttribute("aria-current", "page");
      else link.removeAttribute("aria-current");
    }
  }
}

/** An address of ours: serials may hold anything. */
export const address = (name, about = "") => `#${name}${about ? `/${encodeURIComponent(about)}` : ""}`;

function decoded(text) {
  try {
    return decodeURIComponent(text);
  } catch {
    return text;
  }
}
