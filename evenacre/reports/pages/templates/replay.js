
/* Shows a drive again over its map: the tool at a moment, and the ground behind it. */
evenacre.replay = (() => {
  const STAND_S = 3; // longer standing and turning than this is passed over at this
  const FASTER = 30; // times as fast as it was driven
  const PASS_MS = 900; // where nothing may move, a pass at a time stands so long
  const still = matchMedia("(prefers-reduced-motion: reduce)").matches;

  function summed(steps) {
    const values = new Float64Array(steps.length);
    let sum = 0;
    steps.forEach((step, i) => { values[i] = sum += step; });
    return values;
  }

  /* Values of steps from the pairs of step and value where they change. */
  function spread(pairs, count) {
    const values = new Int32Array(count);
    for (let i = 0; i < pairs.length; i += 2) values.fill(pairs[i + 1], pairs[i]);
    return values;
  }

  class Replay {
    constructor(page, bar, drive) {
      Object.assign(this, { page, bar, drive });
      const [t, x, y, h] = ["t", "x", "y", "h"].map((name) => summed(drive[name]));
      this.count = t.length;
      this.time = t;
      this.heading = h;
      this.cut = new Set(drive.cut);
      this.left = spread(drive.left, this.count - 1);
      this.right = spread(drive.right, this.count - 1);
      this.pass = spread(drive.pass, this.count - 1);
      this.rates = drive.rates.map((rate) => ({ ...rate, parts: summed(rate.parts) }));
      const [lon, lat] = page.data.origin;
      // Places in pixels of the whole world at zoom 0: a factor away from those of any other.
      this.world = [...t].map((_, i) =>
        page.map.project([lat + y[i] / 1e7, lon + x[i] / 1e7], 0));
      this.perMetre = 256 / (2 * Math.PI * 6378137 * Math.cos(lat * Math.PI / 180));
      this.shown = new Float64Array(this.count); // seconds of the replay at each knot
      for (let i = 1; i < this.count; i += 1) {
        const took = (t[i] - t[i - 1]) / 10;
        const working = this.left[i - 1] !== this.right[i - 1];
        this.shown[i] = this.shown[i - 1] + (working ? took : Math.min(took, STAND_S));
      }
      this.slider = bar.querySelector("input");
      this.slider.max = Math.ceil(this.shown[this.count - 1]);
      this.at = 0;
      this.listen();
    }

    listen() {
      const { bar, slider } = this;
      slider.addEventListener("input", () => {
        this.stop();
        this.go(Number(slider.value));
      });
      slider.addEventListener("keydown", (event) => {
        const way = { PageUp: 1, PageDown: -1 }[event.key];
        if (!way) return;
        event.preventDefault();
        this.step(way);
      });
      bar.addEventListener("click", (event) => {
        const button = event.target.closest("button");
        if (!button) return;
        if (button.dataset.pass) this.step(Number(button.dataset.pass));
        else if (this.playing) this.stop();
        else this.play();
      });
      this.page.map.on("move zoomend resize", () => this.redraw());
    }

    get index() {
      let [low, high] = [0, this.count - 1];
      while (low < high) {
        const middle = (low + high + 1) >> 1;
        if (this.shown[middle] <= this.at) low = middle;
        else high = middle - 1;
      }
      return Math.min(low, this.count - 2);
    }

    /* To the end of this pass, of the next one, or of the one before. */
    step(way) {
      this.stop();
      this.pace(way);
    }

    pace(way) {
      const now = this.pass[this.index];
      const working = (i) => this.left[i] !== this.right[i];
      const ends = [];
      for (let i = 0; i < this.count - 1; i += 1) {
        if (working(i)) ends[this.pass[i]] = this.shown[i + 1] - 0.01;
      }
      const every = ends.filter((end) => end !== undefined);
      const next = way > 0 ? every.find((end) => end > this.at + 0.1)
        : every.filter((end) => end < this.at - 0.1).pop();
      this.go(next ?? (way > 0 ? this.shown[this.count - 1] : 0));
      return next !== undefined && now !== undefined;
    }

    play() {
      if (this.at >= this.shown[this.count - 1] - 0.1) this.go(0);
      this.button(true);
      if (still) {
        this.playing = setInterval(() => { if (!this.pace(1)) this.stop(); }, PASS_MS);
        return;
      }
      let before = performance.now();
      const frame = (now) => {
        if (!this.playing) return;
        this.go(this.at + (now - before) / 1000 * FASTER);
        before = now;
        if (this.at < this.shown[this.count - 1]) this.playing = requestAnimationFrame(frame);
        else this.stop();
      };
      this.playing = requestAnimationFrame(frame);
    }

    stop() {
      if (!this.playing) return;
      if (still) clearInterval(this.playing);
      else cancelAnimationFrame(this.playing);
      this.playing = 0;
      this.button(false);
    }

    button(playing) {
      const { play, stop } = this.drive.words;
      this.bar.querySelector("[data-play]").textContent = playing ? `■ ${stop}` : `▶ ${play}`;
    }

    go(at) {
      this.at = Math.min(Math.max(at, 0), this.shown[this.count - 1]);
      this.slider.value = Math.round(this.at);
      this.canvas ??= this.layer();
      this.page.map.getContainer().classList.toggle("replaying", this.at > 0);
      this.tell();
      this.draw();
    }

    layer() {
      const pane = this.page.map.createPane("replay");
      pane.style.zIndex = 630;
      pane.style.pointerEvents = "none";
      const canvas = document.createElement("canvas");
      canvas.className = "leaflet-zoom-hide";
      pane.append(canvas);
      return canvas;
    }

    redraw() {
      if (!this.canvas) return;
      this.drawn = undefined;
      this.draw();
    }

    tell() {
      const i = this.index;
      const working = this.left[i] !== this.right[i];
      const seconds = Math.floor(this.drive.clock + this.time[i] / 10) % 86400;
      const two = (value) => String(Math.floor(value)).padStart(2, "0");
      const took = (this.time[i + 1] - this.time[i]) / 10;
      const [a, b] = [this.world[i], this.world[i + 1]];
      const way = Math.hypot(b.x - a.x, b.y - a.y) / this.perMetre;
      const figure = (value, digits) => value.toLocaleString(document.documentElement.lang, {
        minimumFractionDigits: digits, maximumFractionDigits: digits });
      const [perSi, unit] = this.drive.speed;
      const { words, passes } = this.drive;
      const told = [
        words.now.replace("{pass}", this.pass[i]).replace("{passes}", passes),
        `${two(seconds / 3600)}:${two(seconds / 60 % 60)}:${two(seconds % 60)}`,
        took && !this.cut.has(i) ? `${figure(way / took * perSi, 1)} ${unit}` : "",
        ...(working ? this.rates.map((rate) => {
          const value = rate.parts[i] * rate.middle;
          return `${rate.name} ${figure(value, value < 10 ? 1 : 0)} ${rate.unit}`;
        }) : [words.lifted]),
      ].filter(Boolean);
      this.bar.querySelector(".now").replaceChildren(...told.map((text) => {
        const part = document.createElement("span");
        part.textContent = text;
        return part;
      }));
      this.slider.setAttribute("aria-valuetext", told.join(", "));
    }

    /* Where on the screen the tool ends at a knot, so far to its left. Worked out here, since a
       canvas has too few digits for places in the world. */
    end(knot, centimetres, { scale, corner }) {
      const far = centimetres / 100 * this.perMetre;
      const turned = this.heading[knot] * Math.PI / 180;
      const { x, y } = this.world[knot];
      return [(x - Math.sin(turned) * far) * scale - corner.x,
        (y - Math.cos(turned) * far) * scale - corner.y];
    }

    draw() {
      const { map } = this.page;
      const size = map.getSize();
      const dense = window.devicePixelRatio || 1;
      const pen = this.canvas.getContext("2d");
      const index = this.index;
      if (this.drawn === undefined || index < this.drawn || this.wide !== size.x) {
        this.canvas.width = size.x * dense;
        this.canvas.height = size.y * dense;
        this.canvas.style.width = `${size.x}px`;
        this.wide = size.x;
        this.drawn = 0;
      }
      L.DomUtil.setPosition(this.canvas, map.containerPointToLayerPoint([0, 0]));
      const scale = map.getZoomScale(map.getZoom(), 0);
      const corner = map.project(map.containerPointToLatLng([0, 0]), map.getZoom());
      pen.setTransform(dense, 0, 0, dense, 0, 0);
      this.trail(pen, index, { scale, corner });
      this.tool(scale, corner, index);
    }

    trail(pen, index, view) {
      pen.fillStyle = "#2f4f76";
      pen.beginPath();
      for (let i = this.drawn; i < index; i += 1) {
        if (this.left[i] === this.right[i] || this.cut.has(i)) continue;
        pen.moveTo(...this.end(i, this.left[i], view));
        pen.lineTo(...this.end(i, this.right[i], view));
        pen.lineTo(...this.end(i + 1, this.right[i], view));
        pen.lineTo(...this.end(i + 1, this.left[i], view));
        pen.closePath();
      }
      pen.fill();
      this.drawn = index;
    }

    /* The tool itself: an arrow the way it points, at a size that is seen at every scale. */
    tool(scale, corner, i) {
      const span = this.shown[i + 1] - this.shown[i];
      const share = span && !this.cut.has(i) ? Math.min((this.at - this.shown[i]) / span, 1) : 0;
      const between = (a, b) => a + (b - a) * share;
      const [a, b] = [this.world[i], this.world[i + 1]];
      const x = between(a.x, b.x) * scale - corner.x;
      const y = between(a.y, b.y) * scale - corner.y;
      this.arrow ??= this.pointer();
      const turned = between(this.heading[i], this.heading[i + 1]);
      this.arrow.style.transform = `translate(${x}px, ${y}px) rotate(${-turned}deg)`;
      L.DomUtil.setPosition(this.arrow.parentNode, L.DomUtil.getPosition(this.canvas));
    }

    pointer() {
      const box = document.createElement("div");
      box.className = "pointer leaflet-zoom-hide";
      const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
      svg.setAttribute("viewBox", "-14 -14 28 28");
      const path = document.createElementNS("http://www.w3.org/2000/svg", "path");
      path.setAttribute("d", "M12 0L-8 9L-4 0L-8 -9Z");
      svg.append(path);
      box.append(svg);
      this.canvas.parentNode.append(box);
      return svg;
    }
  }

  return (page) => {
    const bar = page.section.querySelector(".replay");
    if (!bar || !page.data.drive) return null;
    bar.hidden = false;
    return new Replay(page, bar, page.data.drive);
  };
})();
