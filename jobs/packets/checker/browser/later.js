// The seal: log entry, proof, signed head, key, earlier head; then what the log and the additions say since.

const SEALING = [
  "format", "entry", "n", "log_proof", "head", "head_signature", "certificate", "chain", "is_demo", "earlier",
];
const HEAD = ["format", "organisation", "size", "root", "at"];
const EXTRACT = ["format", "packet", "entries", "head", "head_signature", "certificate", "is_demo", "consistency"];
const ADDITION = ["format", "packet", "number", "kind", "at", "text", "facts", "sealed", "previous"];

function requireHead(signed) {
  if (!hasExactly(signed.head, HEAD) || signed.head.format !== "tree head 1") throw new Error("a head of another form");
  if ((signed.certificate === "") !== (signed.head_signature === "")) throw new Error("half a signature");
}

function hashes(list) {
  if (!Array.isArray(list)) throw new Error("a list is missing");
  return list.map((one) => fromHex(one, 32));
}

function readEntry(text) {
  const content = readCanonical(encoder.encode(text), "a log entry");
  return { content, detail: content.detail ?? {} };
}

function readSealing(bytes) {
  const sealing = readCanonical(bytes, "sealing.json");
  if (!hasExactly(sealing, SEALING) || sealing.format !== "sealing 1") throw new Error("sealing.json has another form");
  requireHead(sealing);
  const read = readEntry(sealing.entry);
  if (read.content.n !== sealing.n) throw new Error("sealing.json gives its entry another number");
  return { ...sealing, ...read };
}

async function entryLine(bundle, packet, sealing) {
  const { detail, content } = sealing;
  const wanted = {
    packet: packet.serial,
    root: packet.manifest.root,
    manifest_sha256: bundle.files.get("data/manifest.json").sha256,
    redaction_sha256: bundle.files.get("data/redaction.json")?.sha256,
  };
  const faults = Object.keys(wanted).filter((name) => detail[name] !== wanted[name]).map((name) => `log entry ${sealing.n}: ${name}`);
  if (content.what !== "packet.sealed") faults.push(`log entry ${sealing.n}: it is of another act`);
  if (content.organisation !== sealing.head.organisation) faults.push(`log entry ${sealing.n}: another organisation's`);
  const isCopy = bundle.files.has("data/recipient.json");
  if (!isCopy) {
    const pdf = bundle.files.get("data/packet.pdf");
    const body = pdf && (await bytesAt(bundle.file, pdf.entry.start, pdf.entry.start + Math.min(detail.body_bytes, pdf.size)));
    if (!body || body.length !== detail.body_bytes || toHex(await sha256(body)) !== detail.body_sha256) {
      faults.push("packet.pdf: pages and attachments");
    }
  }
  const seen = isCopy ? "root and manifest. The pages of a stamped copy are not those that were sealed." : "root, manifest and pages.";
  return judged("entry", faults, `Log entry ${sealing.n} names this packet by ${seen}`, "The log entry is of another packet, or this packet is not what was sealed.");
}

async function proofLine(sealing) {
  const leaf = await leafHash(encoder.encode(sealing.entry));
  const { size, root, at } = sealing.head;
  const holds = await showsInclusion(leaf, sealing.n - 1, size, hashes(sealing.log_proof), fromHex(root, 32));
  const good = `The proof shows entry ${sealing.n} in the log of ${size} entries of ${at}.`;
  return judged("log proof", holds ? [] : ["sealing.json: log_proof"], good, "The proof does not show that the entry is in that log.");
}

async function headLine(sealing) {
  if (!sealing.head_signature) {
    return notChecked("head", "NOT SIGNED: no key was set up when this packet was sealed. Whoever made this file could have made all of it.");
  }
  const fault = await headFault(sealing);
  return judged("head", fault ? [`sealing.json: head (${fault})`] : [], "The head of the log is signed by the key of the certificate that comes with it.", "The head of the log is not well signed.");
}

async function earlierLine(sealing) {
  const earlier = sealing.earlier;
  if (earlier === null) return notChecked("earlier head", "No head had been handed outside before this packet was sealed.");
  const faults = [];
  requireHead(earlier);
  const [first, second] = [earlier.head, sealing.head];
  const roots = [fromHex(first.root, 32), fromHex(second.root, 32)];
  const holds = await showsConsistency(first.size, second.size, ...roots, hashes(earlier.consistency));
  if (!holds || first.organisation !== second.organisation) faults.push("sealing.json: earlier head");
  if (earlier.head_signature && (await headFault(earlier))) faults.push("sealing.json: signature of the earlier head");
  return judged("earlier head", faults, `The log continues the one of ${first.size} entries handed outside on ${first.at.slice(0, 10)}.`, "The log does not continue the one handed outside before.");
}

function keyLine(fingerprint, wanted, isDemo) {
  if (wanted && wanted !== fingerprint) {
    return judged("key", ["sealing.json: key"], "", `The seal is by key ${fingerprint || "none"}, not by the key you named.`);
  }
  if (isDemo) return notChecked("key", `THE KEY IS FOR DEMONSTRATION: anybody could have made one like it. This proves nothing to a stranger. Its fingerprint: ${fingerprint}`);
  if (!fingerprint) return notChecked("key", "There is no key to compare.");
  if (wanted) return judged("key", [], `The key is the one you named: ${fingerprint}`, "");
  return notChecked("key", `The key has the fingerprint ${fingerprint}. Compare it with the one that the workshop publishes, or that you got in another way than this file.`);
}

// Whoever holds the key could write the log anew; only a head that somebody kept from before shows it.
function keptLine(sealing, extract, kept) {
  if (kept === null) {
    return notChecked("kept head", "You gave no head of the log that you kept. Whoever holds the signing key could have written a whole log anew; only a head kept from before tells it apart.");
  }
  const heads = [sealing.earlier, sealing, extract].filter((one) => one !== null).map((one) => one.head);
  const same = heads.filter((head) => head.size === kept.size);
  if (!same.length) {
    const sizes = heads.map((head) => head.size).join(", ");
    return notChecked("kept head", `Your head is of ${kept.size} entries; the heads enclosed are of ${sizes}. Ask the feed of heads for the proof between two of these sizes.`);
  }
  const faults = same.filter((head) => head.root !== kept.root).map((head) => `sealing.json: head of ${head.size} entries`);
  return judged("kept head", faults, `The head of ${kept.size} entries is the one that you kept.`, "The log is not the one whose head you kept: it was written anew.");
}

// ------------------------------------------------------------------ since sealing

async function extractLine(extract, sealing, pdfSha256) {
  const faults = (await chainFaults(extract.entries.map((one) => [one.n, one]))).map((fault) => `log-extract.json: ${fault}`);
  const [first, later] = [sealing.head, extract.head];
  const roots = [fromHex(first.root, 32), fromHex(later.root, 32)];
  const continues = await showsConsistency(first.size, later.size, ...roots, hashes(extract.consistency));
  if (!continues || first.organisation !== later.organisation) faults.push("log-extract.json: its head does not continue the log of the sealing");
  if (extract.head_signature ? await headFault(extract) : sealing.head_signature) faults.push("log-extract.json: signature of its head");
  for (const one of extract.entries) {
    const leaf = await leafHash(encoder.encode(one.entry));
    const proven = one.n > later.size ? one.proof.length === 0 : await showsInclusion(leaf, one.n - 1, later.size, hashes(one.proof), roots[1]);
    if (!proven || readEntry(one.entry).content.organisation !== later.organisation) faults.push(`log-extract.json: log entry ${one.n}`);
  }
  if (!extract.entries.some((one) => one.entry === sealing.entry)) faults.push("log-extract.json: the entry of the sealing is not in it");
  const signed = extract.entries.map((one) => readEntry(one.entry)).filter((one) => ["packet.signed", "packet.left_unsigned"].includes(one.content.what));
  if (signed.length !== 1) faults.push("log-extract.json: the one entry that tells the finished file's hash is not in it");
  else if (pdfSha256 && signed[0].detail.pdf_sha256 !== pdfSha256) faults.push("log-extract.json: it tells of another sealed file");
  const good = `${extract.entries.length} entries, under a head of ${later.size}.`;
  const other = await keyFingerprint(extract.certificate);
  if (!faults.length && other && other !== (await keyFingerprint(sealing.certificate))) {
    // Whoever has the bundle can write on in the log and sign what comes of it with a key of his own.
    return notChecked("log extract", `${good} But its head is signed by another key than the seal, ${other}. Unless you know that key as the workshop's, nothing after the sealing is proven.`);
  }
  return judged("log extract", faults, good, "The later log entries do not hold together.");
}

async function additionsLine(bundle, packet, pdfSha256, extract, isProven) {
  const faults = [];
  const names = [...bundle.files.keys()].filter((name) => name.startsWith("data/additions/")).sort();
  let [previous, count] = ["", 0];
  for (const path of names) {
    const name = path.slice("data/additions/".length);
    if (!/^addition-\d{4}\.(json|pdf)$/.test(name)) faults.push(`${name}: no name of an addition`);
    if (!name.endsWith(".json")) continue;
    count += 1;
    const fault = await additionFault(await bundle.bytes(path), { count, previous, packet, pdfSha256 });
    if (fault) faults.push(`${name}: ${fault}`);
    previous = bundle.files.get(path).sha256;
  }
  for (const one of extract ? extract.entries.map((entry) => readEntry(entry.entry)) : []) {
    if (one.content.what !== "packet.added_to") continue;
    const name = additionName(one.detail.number);
    if (bundle.files.get(`data/additions/${name}`)?.sha256 !== one.detail.sha256) faults.push(`${name}: the log tells of another`);
  }
  if (extract === null && !faults.length) return notChecked("additions", "Without a log extract nobody can say whether one was left out.");
  if (!isProven && !faults.length) return notChecked("additions", "The log extract that tells of them is signed by another key.");
  const told = count ? `${count} additions form one chain from the sealed packet on, and the log tells of each.` : "The log extract tells of nothing that was added after sealing.";
  const good = `${told} What was added after the extract was written cannot be seen from this file.`;
  return judged("additions", faults, good, "What was added after sealing does not hold.");
}

async function additionFault(bytes, { count, previous, packet, pdfSha256 }) {
  let told;
  try {
    told = readCanonical(bytes, "it");
  } catch (error) {
    return error.message;
  }
  if (!hasExactly(told, ADDITION) || told.format !== "addition 1") return "it has another form";
  if (told.number !== count || told.previous !== previous) return "it does not follow the one before it";
  const sealed = told.sealed ?? {};
  const isOf = told.packet === packet.serial && sealed.root === packet.manifest.root;
  return isOf && (!pdfSha256 || sealed.pdf_sha256 === pdfSha256) ? "" : "it is of another packet";
}

function readExtract(bytes) {
  const extract = readCanonical(bytes, "log-extract.json");
  if (!hasExactly(extract, EXTRACT) || extract.format !== "log extract 1") throw new Error("log-extract.json has another form");
  requireHead(extract);
  return extract;
}
