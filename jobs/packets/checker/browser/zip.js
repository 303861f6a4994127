// The one form of archive that bundles have, read strictly: every byte around the contents follows from them.

const NAME = /^[A-Za-z0-9_][A-Za-z0-9_.-]*(?:\/[A-Za-z0-9_][A-Za-z0-9_.-]*)*$/;
const MOST_ENTRIES = 20000;
const LONGEST_NAME = 200;

const CRC_TABLE = new Uint32Array(256).map((_, place) => {
  let value = place;
  for (let bit = 0; bit < 8; bit += 1) value = value & 1 ? (value >>> 1) ^ 0xedb88320 : value >>> 1;
  return value;
});

function crc32(bytes) {
  let value = 0xffffffff;
  for (let at = 0; at < bytes.length; at += 1) value = CRC_TABLE[(value ^ bytes[at]) & 0xff] ^ (value >>> 8);
  return (value ^ 0xffffffff) >>> 0;
}

async function bytesAt(file, start, end) {
  return new Uint8Array(await file.slice(start, end).arrayBuffer());
}

// [width in bytes, value] one after the other, little-endian, then the name.
function packed(fields, name = "") {
  const found = [];
  for (const [width, value] of fields) {
    for (let at = 0; at < width; at += 1) found.push(Math.floor(value / 256 ** at) % 256);
  }
  return Uint8Array.from([...found, ...encoder.encode(name)]);
}

// Needs version 2.0, no flags, stored, 1 January 1980.
const SAME = [[2, 20], [2, 0], [2, 0], [2, 0], [2, 0x21]];

function localHeader(entry) {
  const { name, size, crc } = entry;
  return packed([[4, 0x04034b50], ...SAME, [4, crc], [4, size], [4, size], [2, name.length], [2, 0]], name);
}

function centralEntry(entry) {
  const { name, size, crc, at } = entry;
  const head = [[4, 0x02014b50], [2, 3 * 256 + 20], ...SAME, [4, crc], [4, size], [4, size], [2, name.length]];
  return packed([...head, [2, 0], [2, 0], [2, 0], [2, 0], [4, 0o100644 * 65536], [4, at]], name);
}

function endRecord(count, size, at) {
  return packed([[4, 0x06054b50], [2, 0], [2, 0], [2, count], [2, count], [4, size], [4, at], [2, 0]]);
}

function directoryEntries(directory, count, faults) {
  const view = new DataView(directory.buffer);
  const found = [];
  let row = 0;
  let at = 0;
  for (let place = 0; place < count; place += 1) {
    if (row + 46 > directory.length) {
      faults.push(`central directory entry of entry ${place + 1}`);
      return [];
    }
    const [crc, size, length] = [view.getUint32(row + 16, true), view.getUint32(row + 24, true), view.getUint16(row + 28, true)];
    const name = String.fromCharCode(...directory.subarray(row + 46, row + 46 + length));
    const entry = { name, size, crc, at, start: at + 30 + length };
    const good = length <= LONGEST_NAME && NAME.test(name);
    if (!good || !sameBytes(centralEntry(entry), directory.subarray(row, row + 46 + length))) {
      faults.push(`central directory entry of ${good ? name : `entry ${place + 1}`}`);
      return [];
    }
    found.push(entry);
    row += 46 + length;
    at = entry.start + size;
  }
  if (row !== directory.length) faults.push("end record");
  return found;
}

function nameFaults(entries) {
  const faults = [];
  const folded = new Set();
  entries.forEach((entry, place) => {
    if (place > 0 && entries[place - 1].name >= entry.name) faults.push(`order of ${entry.name}`);
    if (folded.has(entry.name.toLowerCase())) faults.push(`name of ${entry.name}`);
    folded.add(entry.name.toLowerCase());
  });
  return faults;
}

// Entries with where their contents lie, and the places that are not as they must be.
async function readZip(file) {
  const faults = [];
  const raw = await bytesAt(file, Math.max(0, file.size - 22), file.size);
  if (raw.length < 22) return { entries: [], faults: ["archive"] };
  const view = new DataView(raw.buffer);
  const [count, size, at] = [view.getUint16(10, true), view.getUint32(12, true), view.getUint32(16, true)];
  if (!sameBytes(raw, endRecord(count, size, at)) || at + size + 22 !== file.size || count === 0 || count > MOST_ENTRIES) {
    return { entries: [], faults: ["end record"] };
  }
  const entries = directoryEntries(await bytesAt(file, at, at + size), count, faults);
  const last = entries.at(-1);
  if (last !== undefined && last.start + last.size !== at) {
    return { entries: [], faults: [...faults, `central directory entry of ${last.name}`] };
  }
  for (const entry of entries) {
    const header = await bytesAt(file, entry.at, entry.start);
    if (!sameBytes(header, localHeader(entry))) faults.push(`local header of ${entry.name}`);
  }
  return { entries, faults: [...faults, ...nameFaults(entries)] };
}
