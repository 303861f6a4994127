// The screen: takes a file, runs the checks, and says the result first.

const WORDS = { agrees: "agrees", differs: "differs", not_checked: "not checked" };
// "DEMONSTRATION KEY"
const DEMO_MARK_HEX = "44454d4f4e5354524154494f4e204b4559";
const NOT_HERE = [
  ["verdicts", "This page does not judge again. check.pyz does."],
  ["pdf signature", "This page does not look into the PDF's own signature. check.pyz and PDF readers do."],
  ["content", "Whether facts.json and the manifest say the same is not compared here; both lead to the same root."],
];

class Bundle {
  constructor(file, files) {
    this.file = file;
    this.files = files;
  }

  async bytes(path) {
    const found = this.files.get(path);
    if (found === undefined) throw new Error(`${path} is missing`);
    return bytesAt(this.file, found.entry.start, found.entry.start + found.entry.size);
  }

  async text(path) {
    return decoder.decode(await this.bytes(path));
  }
}

async function readPacket(bundle) {
  const manifest = readCanonical(await bundle.bytes("data/manifest.json"), "manifest.json");
  const known = ["packet manifest 1", "packet manifest 2"].includes(manifest.format);
  if (!known || !hasExactly(manifest, ["format", "root", "entries"]) || !Array.isArray(manifest.entries)) {
    throw new Error("manifest.json has another form");
  }
  if (!manifest.entries.every((entry) => typeof entry.path === "string")) throw new Error("manifest.json has another form");
  const redaction = bundle.files.has("data/redaction.json") ? readCanonical(await bundle.bytes("data/redaction.json"), "redaction.json") : null;
  const serial = redaction ? redaction.serial : manifest.entries.find((entry) => entry.path === "packet/serial")?.value;
  const derived = redaction ? redaction.pictures.map((one) => one.derived.name) : [];
  return { manifest, serial, derived, redaction };
}

async function sealedPdf(bundle) {
  if (bundle.files.has("data/recipient.json")) {
    return readCanonical(await bundle.bytes("data/recipient.json"), "recipient.json").sealed_pdf_sha256;
  }
  return bundle.files.get("data/packet.pdf")?.sha256 ?? "";
}

async function packetLines(bundle, packet, wanted) {
  const sealing = readSealing(await bundle.bytes("data/sealing.json"));
  const fingerprint = await keyFingerprint(sealing.certificate);
  // The certificate of a demonstration key says so in its name, whatever the file around it claims.
  const isDemo = sealing.is_demo || sealing.certificate.includes(DEMO_MARK_HEX);
  const { extract, line, additions, deleted } = await since(bundle, packet, sealing);
  const lines = [
    await treeLine(packet.manifest),
    ...filesLines(bundle, packet.manifest, packet.derived, deleted),
    await logLine(packet.manifest),
    redactionLine(bundle, packet, deleted),
    await entryLine(bundle, packet, sealing),
    await proofLine(sealing),
    await headLine(sealing),
    await earlierLine(sealing),
    keyLine(fingerprint, wanted.key, isDemo),
    line,
    ...(packet.redaction === null ? [] : [originLine(packet, extract)]),
    additions,
    keptLine(sealing, extract, wanted.head),
  ];
  return { lines, isDemo };
}

// What the log and the additions say since sealing. Deletions count only where both hold.
async function since(bundle, packet, sealing) {
  const pdfSha256 = await sealedPdf(bundle);
  const path = "data/log-extract.json";
  const extract = bundle.files.has(path) ? readExtract(await bundle.bytes(path)) : null;
  const line =
    extract === null
      ? judged("log extract", [path], "", "The log extract is missing. Every bundle has one.")
      : await extractLine(extract, sealing, pdfSha256);
  const additions = await additionsLine(bundle, packet, pdfSha256, extract, line.result !== "not_checked");
  const isWhole = line.result === "agrees" && additions.result === "agrees";
  return { extract, line, additions, deleted: isWhole ? await deletions(bundle, extract) : new Map() };
}

// What was found in a file; `told` is called with words on how far it is.
async function checkBundle(file, wanted = { key: "", head: null }, told = () => {}) {
  const archive = await readZip(file);
  const faults = [...archive.faults];
  const digests = await measured(file, archive, faults, told);
  const files = underOneFolder(digests);
  if (archive.entries.length && files === null) faults.push("name outside the one folder");
  const lines = [judged("archive", faults, `Every byte around and in its ${archive.entries.length} files is as it must be.`, "The archive is not as it was written.")];
  const found = { serial: "", root: "", isDemo: false, lines };
  if (!archive.entries.length || files === null) {
    lines.push(notChecked("rest", "Not looked at, since the archive could not be taken apart."));
    return found;
  }
  const bundle = new Bundle(file, files);
  try {
    lines.push(await bagLine(bundle));
    const packet = await readPacket(bundle);
    [found.serial, found.root] = [String(packet.serial), packet.manifest.root];
    const more = await packetLines(bundle, packet, wanted);
    lines.push(...more.lines);
    found.isDemo = more.isDemo;
  } catch (error) {
    lines.push({ what: "packet", result: "differs", text: `A part cannot be read: ${error.message}.`, at: ["data/"] });
  }
  lines.push(...NOT_HERE.map(([what, text]) => notChecked(what, text)));
  return found;
}

function headline(found) {
  if (found.lines.some((line) => line.result === "differs")) return "It differs. Do not rely on this file.";
  if (found.isDemo) return "Nothing that was checked differs, but the key is one for demonstration.";
  return "Nothing that was checked differs.";
}

function element(name, text = "", className = "") {
  const made = document.createElement(name);
  made.textContent = text;
  if (className) made.className = className;
  return made;
}

function row(line) {
  const item = element("li", "", line.result);
  const head = element("p", "", "what");
  head.append(element("span", "", "mark"), element("strong", line.what), element("span", WORDS[line.result], "word"));
  item.append(head, element("p", line.text));
  for (const place of line.at) item.append(element("p", `at: ${place}`, "place"));
  return item;
}

function show(file, found) {
  const result = document.getElementById("result");
  const list = element("ol");
  list.append(...found.lines.map(row));
  const differs = found.lines.some((line) => line.result === "differs");
  const title = element("h2", headline(found), differs ? "differs" : "agrees");
  const about = element("p", `${file.name}${found.serial ? `: packet ${found.serial}` : ""}`, "second");
  result.replaceChildren(title, about, list);
  result.dataset.outcome = differs ? "differs" : "agrees";
  title.tabIndex = -1;
  title.focus();
}

async function take(file) {
  const status = document.getElementById("status");
  const result = document.getElementById("result");
  delete result.dataset.outcome;
  result.replaceChildren();
  const key = document.getElementById("key").value.replace(/[\s:]/g, "").toLowerCase();
  if (key && !/^[0-9a-f]{64}$/.test(key)) {
    status.textContent = "A fingerprint has 64 hex digits.";
    return;
  }
  const kept = document.getElementById("head").value.replace(/\s/g, "").toLowerCase();
  const head = /^([1-9][0-9]{0,14}):([0-9a-f]{64})$/.exec(kept);
  if (kept && head === null) {
    status.textContent = "A head is its number of entries, a colon and its root of 64 hex digits.";
    return;
  }
  const wanted = { key, head: head === null ? null : { size: Number(head[1]), root: head[2] } };
  status.textContent = "Reading.";
  try {
    if ((await file.slice(0, 5).text()) === "%PDF-") {
      status.textContent = "This page checks bundles (.zip). For a PDF alone use check.pyz, or the address on its first page.";
      return;
    }
    const found = await checkBundle(file, wanted, (words) => (status.textContent = words));
    status.textContent = "Done.";
    show(file, found);
  } catch (error) {
    status.textContent = `The file could not be read: ${error.message}`;
  }
}

function start() {
  const field = document.getElementById("file");
  const drop = document.getElementById("drop");
  // The same file chosen twice fires no change: what was chosen before is cleared first.
  field.addEventListener("click", () => (field.value = ""));
  field.addEventListener("change", () => field.files.length && take(field.files[0]));
  document.addEventListener("dragover", (event) => {
    event.preventDefault();
    drop.classList.add("over");
  });
  document.addEventListener("dragleave", () => drop.classList.remove("over"));
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    drop.classList.remove("over");
    if (event.dataTransfer.files.length) take(event.dataTransfer.files[0]);
  });
}

if (typeof document !== "undefined") start();
