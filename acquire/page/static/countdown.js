// A clock that runs down by the page's monotonic time: a tab that slept shows the right second when it wakes.

/** Calls `show(left_s)` each second and `done()` once. Gives {stop()}. */
export function countdown(seconds, show, done) {
  const until = performance.now() + 1000 * seconds;
  let timer = null;
  const tick = () => {
    const left_s = (until - performance.now()) / 1000;
    show(Math.max(0, left_s));
    if (left_s <= 0) done();
    else timer = setTimeout(tick, 1000 * (left_s % 1) + 5);
  };
  show(Math.max(0, seconds));
  timer = setTimeout(tick, 0);
  return { stop: () => clearTimeout(timer) };
}
