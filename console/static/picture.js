// A chart as a picture to keep: what it is, of which site and time and whether it is invented stands on the picture
// itself, since a file is passed on without its page.

const LINE = 22;
const EDGE = 16;

export async function picture(canvas, { title, period, legend, notes, name }) {
  const ratio = canvas.width / canvas.clientWidth;
  const style = getComputedStyle(canvas);
  const ink = (of) => style.getPropertyValue(`--${of}`).trim();
  const head = EDGE + 2 * LINE + 6;
  const rows = legend.length + notes.length;
  const sheet = document.createElement("canvas");
  sheet.width = canvas.width;
  sheet.height = Math.round((head + canvas.clientHeight + rows * LINE + EDGE) * ratio);
  const pen = sheet.getContext("2d");
  pen.fillStyle = ink("face");
  pen.fillRect(0, 0, sheet.width, sheet.height);
  pen.drawImage(canvas, 0, Math.round(head * ratio));
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.fillStyle = ink("figure");
  pen.textBaseline = "middle";
  pen.font = `600 16px ${style.fontFamily}`;
  pen.fillText(title, EDGE, EDGE + LINE / 2);
  pen.font = `14px ${style.fontFamily}`;
  pen.fillText(period, EDGE, EDGE + 1.5 * LINE);
  let y = head + canvas.clientHeight + LINE / 2;
  for (const { dash, thin, text } of legend) {
    pen.strokeStyle = ink(thin ? "label" : "figure");
    pen.lineWidth = thin ? 1.1 : 1.9;
    pen.setLineDash(dash);
    pen.beginPath();
    pen.moveTo(EDGE, y);
    pen.lineTo(EDGE + 64, y);
    pen.stroke();
    pen.fillText(text, EDGE + 76, y);
    y += LINE;
  }
  for (const note of notes) {
    pen.fillText(note, EDGE, y);
    y += LINE;
  }
  const blob = await new Promise((done) => sheet.toBlob(done, "image/png"));
  const link = document.createElement("a");
  link.href = URL.createObjectURL(blob);
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}
