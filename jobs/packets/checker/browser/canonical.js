// RFC 8785 canonical JSON, and parts read strictly: bytes that come out again from what was read of them.

const decoder = new TextDecoder("utf-8", { fatal: true, ignoreBOM: true });
const encoder = new TextEncoder();

function stringText(text) {
  if (/[\ud800-\udbff](?![\udc00-\udfff])|(?:[^\ud800-\udbff]|^)[\udc00-\udfff]/.test(text)) {
    throw new Error("a lone surrogate has no canonical form");
  }
  return JSON.stringify(text);
}

// Object keys sort by UTF-16 code units, as JavaScript compares strings; numbers are written as it writes them.
function canonicalText(value, depth = 0) {
  if (depth > 200) throw new Error("nested too deep");
  if (value === null || typeof value === "boolean") return String(value);
  if (typeof value === "string") return stringText(value);
  if (typeof value === "number") {
    if (!Number.isFinite(value)) throw new Error("no number has this value");
    return Object.is(value, -0) ? "0" : String(value);
  }
  if (Array.isArray(value)) return "[" + value.map((one) => canonicalText(one, depth + 1)).join(",") + "]";
  const rows = Object.keys(value).sort((a, b) => (a < b ? -1 : a > b ? 1 : 0));
  return "{" + rows.map((key) => stringText(key) + ":" + canonicalText(value[key], depth + 1)).join(",") + "}";
}

function canonicalBytes(value) {
  return encoder.encode(canonicalText(value));
}

function sameBytes(a, b) {
  return a.length === b.length && a.every((one, place) => one === b[place]);
}

// Names that JavaScript objects have of their own accord would be lost; packets have none of them.
function readCanonical(bytes, name) {
  let value;
  try {
    value = JSON.parse(decoder.decode(bytes));
  } catch (error) {
    throw new Error(`${name} cannot be read: ${error.message}`);
  }
  if (value === null || typeof value !== "object" || Array.isArray(value)) throw new Error(`${name} has another form`);
  if (!sameBytes(canonicalBytes(value), bytes)) throw new Error(`${name} is not in canonical form`);
  return value;
}

function hasExactly(value, names) {
  return (
    value !== null &&
    typeof value === "object" &&
    Object.keys(value).sort().join() === [...names].sort().join()
  );
}

function fromHex(text, bytes = null) {
  if (typeof text !== "string" || !/^(?:[0-9a-f]{2})*$/.test(text)) throw new Error("a value is not written in hex");
  if (bytes !== null && text.length !== 2 * bytes) throw new Error(`a value has not ${bytes} bytes`);
  const found = new Uint8Array(text.length / 2);
  for (let at = 0; at < found.length; at += 1) found[at] = parseInt(text.slice(2 * at, 2 * at + 2), 16);
  return found;
}

function toHex(bytes) {
  return Array.from(bytes, (one) => one.toString(16).padStart(2, "0")).join("");
}
