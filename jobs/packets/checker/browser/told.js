// What the packet says of what is not in it: withheld entries, the packet a copy was made from, deleted originals.

const KINDS = ["customer_name", "contact", "plate", "person_name", "address", "face", "anothers_data", "trade_secret", "other"];
const LOG_HEAD = "packet/log_head";
const BY_KIND = ["order/customer_name", "order/customer_contact", "order/plate", "log/", LOG_HEAD];
const ALWAYS_SHOWN = ["verdict", "disposition", "held_because", "left_against_hold", "gate_at"].map((name) => `assessment/${name}`);
const SHOWN_RECORDS = ["assessment/findings", "assessment/requirements", "assessment/procedures"];
const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
const DELETED = { retention: "deleted under the retention policy", erasure: "erased at a person's request" };

// No redaction withholds what the packet is, or a verdict; its words may go.
function mustBeShown(path) {
  if ((path.startsWith("packet/") || path.startsWith("packs/")) && path !== LOG_HEAD) return true;
  return ALWAYS_SHOWN.includes(path) || SHOWN_RECORDS.includes(path.slice(0, path.lastIndexOf("/")));
}

function redactionLine(bundle, packet, deleted) {
  const hidden = packet.manifest.entries.filter((entry) => !("value" in entry)).map((entry) => entry.path);
  const told = packet.redaction;
  if (told === null) {
    const odd = hidden.filter((path) => !BY_KIND.some((kind) => path.startsWith(kind)));
    if (odd.length && packet.manifest.format !== "packet manifest 1") {
      return judged("redaction", odd.map((path) => `${path} (withheld without a word)`), "", "Something is withheld that no kind of packet withholds.");
    }
    if (hidden.length) return notChecked("redaction", `${hidden.length} entries are withheld, as this kind of packet does.`);
    return judged("redaction", [], "Nothing is withheld.", "");
  }
  const faults = [...listFaultsOf(told, hidden), ...pictureFaults(bundle, told, deleted)];
  const serial = packet.manifest.entries.find((entry) => entry.path === "packet/serial")?.value;
  if (told.format !== "redaction 1" || told.of !== serial || told.root !== packet.manifest.root) {
    faults.push("redaction.json: it speaks of another packet");
  }
  for (const item of [...told.fields, ...told.pictures]) if (!KINDS.includes(item.kind)) faults.push(`redaction.json: kind ${item.kind}`);
  const good = `${hidden.length} entries are withheld; each is told, with what kind of thing it was and why.`;
  return judged("redaction", faults, good, "What is withheld is not what the packet says is withheld.");
}

function listFaultsOf(told, hidden) {
  const fields = told.fields.filter((item) => String(item.why).trim()).map((item) => item.path);
  const pictures = told.pictures.filter((item) => String(item.why).trim()).map((item) => `files/${item.file}`);
  const named = new Set([...fields, ...pictures, ...told.by_kind]);
  return [
    ...hidden.filter(mustBeShown).map((path) => `${path} (nobody may withhold it)`),
    ...hidden.filter((path) => !named.has(path)).map((path) => `${path} (withheld without a word)`),
    ...[...named].filter((path) => !hidden.includes(path)).map((path) => `${path} (told as withheld, but there)`),
  ];
}

function pictureFaults(bundle, told, deleted) {
  const faults = [];
  for (const { file, derived } of told.pictures) {
    const found = bundle.files.get(`data/${derived.name}`);
    if (found === undefined) {
      if (!deleted.has(derived.sha256)) faults.push(`${derived.name} (missing)`);
    } else if (found.sha256 !== derived.sha256 || found.size !== derived.bytes) faults.push(String(derived.name));
    if (bundle.files.has(`data/${file}`)) faults.push(`${file} (told as withheld, but there)`);
  }
  return faults;
}

// The log sealed the packet that a redacted one was made from: with the same root, it is the same tree.
function originLine(packet, extract) {
  const serial = packet.manifest.entries.find((entry) => entry.path === "packet/serial")?.value;
  const sealed = (extract?.entries ?? [])
    .map((one) => ({ n: one.n, ...readEntry(one.entry) }))
    .filter((one) => one.content.what === "packet.sealed" && one.detail.packet === serial);
  if (!sealed.length) {
    return notChecked("origin", `The log extract does not hold the sealing of ${serial ?? "the packet it was made from"}. Compare the root with that packet's, if you have it.`);
  }
  const faults = sealed.filter((one) => one.detail.root !== packet.manifest.root).map((one) => `log-extract.json: log entry ${one.n} (root)`);
  const good = `Log entry ${sealed[0].n} sealed ${serial} with the same root; this copy only leaves things out.`;
  return judged("origin", faults, good, `${serial} was sealed with another root: this is not a copy of it with things left out.`);
}

// ------------------------------------------------------------------ deleted originals

// SHA-256 -> words, from additions whose log entry is under the extract's head; both were found whole before.
async function deletions(bundle, extract) {
  const found = new Map();
  for (const one of extract.entries) {
    const { content, detail } = readEntry(one.entry);
    if (content.what !== "packet.added_to" || detail.kind !== "retention" || one.n > extract.head.size) continue;
    const told = readCanonical(await bundle.bytes(`data/additions/${additionName(detail.number)}`), "it");
    const rows = told.kind === "retention" && Array.isArray(told.facts?.deleted) ? told.facts.deleted : [];
    for (const row of rows) {
      const words = deletedWords(row);
      if (words) found.set(row.sha256, words);
    }
  }
  return found;
}

function deletedWords(row) {
  const day = /^(\d{4})-(\d\d)-(\d\d)/.exec(String(row?.on ?? row?.at));
  const known = /^[0-9a-f]{64}$/.test(String(row?.sha256)) && Object.hasOwn(DELETED, row.why);
  if (!known || day === null || !MONTHS[Number(day[2]) - 1]) return "";
  return `${DELETED[row.why]} on ${Number(day[3])} ${MONTHS[Number(day[2]) - 1]} ${day[1]}; its SHA-256 remains`;
}

function additionName(number) {
  return `addition-${String(number).padStart(4, "0")}.json`;
}
