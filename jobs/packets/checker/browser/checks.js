// The bundle line by line: agrees, differs, or not checked, never more than was looked at.

const TAGS = [
  "bagit.txt", "bag-info.txt", "manifest-sha256.txt", "tagmanifest-sha256.txt", "check.pyz", "check.html",
  "how-to-check.txt",
];
const BESIDE = ["manifest.json", "sealing.json", "redaction.json", "recipient.json"];
const DECLARATION = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n";

function judged(what, faults, good, bad) {
  const found = [...new Set(faults)];
  return found.length
    ? { what, result: "differs", text: bad, at: found }
    : { what, result: "agrees", text: good, at: [] };
}

function notChecked(what, text) {
  return { what, result: "not_checked", text, at: [] };
}

// Reads every entry once: check sum and hash; contents that are needed later are read again by name.
async function measured(file, archive, faults, told) {
  const digests = new Map();
  let done = 0;
  for (const entry of archive.entries) {
    const bytes = await bytesAt(file, entry.start, entry.start + entry.size);
    if (crc32(bytes) !== entry.crc) faults.push(`content of ${entry.name}`);
    digests.set(entry.name, { sha256: toHex(await sha256(bytes)), size: entry.size, entry });
    done += 1;
    told(`${done} of ${archive.entries.length} files read`);
  }
  return digests;
}

function underOneFolder(digests) {
  const names = [...digests.keys()];
  const folder = names.length ? names[0].split("/")[0] : "";
  if (!names.every((name) => name.startsWith(folder + "/"))) return null;
  return new Map(names.map((name) => [name.slice(folder.length + 1), digests.get(name)]));
}

function encodedPath(path) {
  return path.replace(/%/g, "%25").replace(/\n/g, "%0A").replace(/\r/g, "%0D");
}

function manifestText(files, names) {
  return names.sort().map((name) => `${files.get(name).sha256}  ${encodedPath(name)}\n`).join("");
}

async function bagLine(bundle) {
  const names = [...bundle.files.keys()];
  const payload = names.filter((name) => name.startsWith("data/"));
  const odd = names.filter((name) => !name.startsWith("data/") && !TAGS.includes(name));
  const missing = TAGS.filter((name) => !bundle.files.has(name));
  const faults = [...odd.map((name) => `${name} (no file of a bundle)`), ...missing.map((name) => `${name} (missing)`)];
  if (!faults.length) {
    const size = payload.reduce((total, name) => total + bundle.files.get(name).size, 0);
    const info = await bundle.text("bag-info.txt");
    if ((await bundle.text("bagit.txt")) !== DECLARATION) faults.push("bagit.txt");
    if (!info.includes(`\nPayload-Oxum: ${size}.${payload.length}\n`)) faults.push("bag-info.txt: Payload-Oxum");
    await listFaults(bundle, "manifest-sha256.txt", payload, faults);
    const tags = TAGS.filter((name) => name !== "tagmanifest-sha256.txt");
    await listFaults(bundle, "tagmanifest-sha256.txt", tags, faults);
  }
  const good = `${payload.length} files have the hashes that the bag (BagIt 1.0) lists.`;
  return judged("bag", faults, good, "The bag is not as it was packed.");
}

async function listFaults(bundle, list, names, faults) {
  const text = await bundle.text(list);
  if (text === manifestText(bundle.files, [...names])) return;
  const lines = new Set(text.split("\n"));
  const wrong = names.filter((name) => !lines.has(`${bundle.files.get(name).sha256}  ${encodedPath(name)}`));
  faults.push(...wrong.map((name) => `${name} does not have the hash in ${list}`));
  if (!wrong.length) faults.push(`${list} is not written as a bundle's is`);
}

// ------------------------------------------------------------------ the manifest's tree and files

async function leafOf(entry) {
  if (hasExactly(entry, ["path", "leaf"])) return fromHex(entry.leaf, 32);
  if (!hasExactly(entry, ["path", "salt", "value"])) throw new Error("an entry of another form");
  return leafHash(canonicalBytes({ [entry.path]: entry.value }), fromHex(entry.salt, 16));
}

function utf8Order(a, b) {
  const [first, second] = [encoder.encode(a), encoder.encode(b)];
  const at = first.findIndex((one, place) => one !== second[place]);
  if (at < 0) return first.length - second.length;
  return at < second.length ? first[at] - second[at] : 1;
}

async function treeLine(manifest) {
  const faults = [];
  const leaves = [];
  let hidden = 0;
  for (const [place, entry] of manifest.entries.entries()) {
    try {
      leaves.push(await leafOf(entry));
    } catch {
      faults.push(String(entry.path));
    }
    hidden += "leaf" in entry ? 1 : 0;
    if (place > 0 && utf8Order(manifest.entries[place - 1].path, entry.path) >= 0) faults.push("order of the entries");
  }
  if (!faults.length && toHex(await treeRoot(leaves)) !== manifest.root) faults.push("manifest.json: tree root");
  const good = `${leaves.length} entries lead to the root${hidden ? `; of ${hidden} only the hash is shown.` : "."}`;
  return judged("tree", faults, good, "The entries do not lead to the root.");
}

function listedFiles(manifest) {
  return manifest.entries
    .filter((entry) => entry.path.startsWith("files/") && "value" in entry)
    .map((entry) => [entry.path.slice(6), entry.value]);
}

function filesLines(bundle, manifest, derived, deleted) {
  const faults = [];
  const listed = listedFiles(manifest);
  let withheld = manifest.entries.filter((entry) => entry.path.startsWith("files/evidence-") && "leaf" in entry).length;
  const gone = [];
  let originals = 0;
  for (const [name, value] of listed) {
    const found = bundle.files.get(`data/${name}`);
    if (found === undefined && "withheld" in value) withheld += 1;
    else if (found === undefined && name.startsWith("evidence-") && deleted.has(value.sha256)) gone.push(`${name} is ${deleted.get(value.sha256)}`);
    else if (found === undefined) faults.push(`${name} (missing)`);
    else if (found.sha256 !== value.sha256 || found.size !== value.bytes) faults.push(name);
    else if (name.startsWith("evidence-")) originals += 1;
  }
  const known = new Set([...listed.map(([name]) => name), ...BESIDE, ...derived, "packet.pdf", "log-extract.json"]);
  for (const path of bundle.files.keys()) {
    const name = path.slice(5);
    if (path.startsWith("data/") && !name.startsWith("additions/") && !known.has(name)) faults.push(`${name} (not in the manifest)`);
  }
  const good = `All listed files have their hashes, ${originals} originals among them.`;
  const lines = [judged("files", faults, good, "A file is not as it was.")];
  if (withheld) gone.push(`${withheld} are withheld from this copy`);
  if (gone.length) lines.push(notChecked("originals", `Of the originals, ${originals} are here; ${gone.join("; ")}.`));
  return lines;
}

async function logLine(manifest) {
  const rows = manifest.entries
    .filter((entry) => entry.path.startsWith("log/") && "value" in entry)
    .map((entry) => [Number(entry.path.slice(4)), entry.value]);
  const faults = await chainFaults(rows);
  return judged("log", faults, `${rows.length} log entries have their hashes.`, "A log entry was changed.");
}

async function chainFaults(rows) {
  const faults = [];
  let [lastN, lastHash] = [-1, ""];
  for (const [n, value] of rows) {
    let good = false;
    try {
      const computed = toHex(await sha256(fromHex(value.prev, 32), encoder.encode(value.entry)));
      const linked = n !== lastN + 1 || value.prev === lastHash;
      good = n > lastN && computed === value.hash && linked && JSON.parse(value.entry).n === n;
    } catch {
      good = false;
    }
    if (!good) faults.push(`log entry ${n}`);
    [lastN, lastHash] = [n, value.hash];
  }
  return faults;
}
