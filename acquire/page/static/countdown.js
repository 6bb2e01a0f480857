// A clock that runs down by the page's monotonic time: a tab that slept shows the right second when it wakes.

/** Calls `show(left_s)` each second and `done()` once. Gives {stop()}. */
export function countdown(seconds, show, done) {
  const until = performance.now() + 1000 * seconds;
  let timer = null;
  const tick = () => {
    const left_s = (until - performance.now()) / 1000;
    if (left_s <= 0) {
      show(0);
      done();
      return;
    }
    show(left_s);
    timer = setTimeout(tick, 1000 * (left_s % 1) + 5);
  };
  tick();
  return { stop: () => clearTimeout(timer) };
}
