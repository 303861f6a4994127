// As much DER as it takes to find the key and the validity of a certificate (RFC 5280 section 4.1).

function derElement(bytes, at) {
  if (at + 2 > bytes.length) throw new Error("the certificate cannot be read");
  let length = bytes[at + 1];
  let start = at + 2;
  if (length >= 0x80) {
    const count = length - 0x80;
    if (count === 0 || count > 3) throw new Error("the certificate cannot be read");
    length = 0;
    for (let place = 0; place < count; place += 1) length = length * 256 + bytes[start + place];
    start += count;
    if (length < 0x80) throw new Error("the certificate is not DER");
  }
  const end = start + length;
  if (end > bytes.length) throw new Error("the certificate cannot be read");
  return { tag: bytes[at], start, end, whole: bytes.subarray(at, end), content: bytes.subarray(start, end) };
}

function derParts(element) {
  const found = [];
  for (let at = 0; at < element.content.length; ) {
    const one = derElement(element.content, at);
    found.push(one);
    at = one.end;
  }
  return found;
}

// UTCTime or GeneralizedTime as text that sorts like RFC 3339 in UTC.
function derInstant(element) {
  const text = String.fromCharCode(...element.content);
  const full = element.tag === 0x17 ? (Number(text.slice(0, 2)) >= 50 ? "19" : "20") + text : text;
  if (!/^\d{14}Z$/.test(full)) throw new Error("the certificate's validity cannot be read");
  return full.replace(/^(\d{4})(\d\d)(\d\d)(\d\d)(\d\d)(\d\d)Z$/, "$1-$2-$3T$4:$5:$6");
}

function readCertificate(bytes) {
  const outer = derElement(bytes, 0);
  if (outer.tag !== 0x30 || outer.end !== bytes.length) throw new Error("the certificate cannot be read");
  const fields = derParts(derParts(outer)[0]);
  const from = fields[0].tag === 0xa0 ? 1 : 0;
  const [notBefore, notAfter] = derParts(fields[from + 3]).map(derInstant);
  return { notBefore, notAfter, spki: fields[from + 5].whole };
}

const KEY_KIND = { name: "RSASSA-PKCS1-v1_5", hash: "SHA-256" };

// What is wrong with a signed head, in words; empty where nothing is.
async function headFault(signed) {
  let certificate;
  try {
    certificate = readCertificate(fromHex(signed.certificate));
  } catch (error) {
    return error.message;
  }
  let key;
  try {
    key = await crypto.subtle.importKey("spki", certificate.spki, KEY_KIND, false, ["verify"]);
  } catch {
    return "its key is not one of RSA";
  }
  if (key.algorithm.modulusLength < 2048) return "its key is too short";
  const holds = await crypto.subtle.verify(KEY_KIND, key, fromHex(signed.head_signature), canonicalBytes(signed.head));
  if (!holds) return "the signature was not made by that key over this head";
  const at = signed.head.at.slice(0, 19);
  return at < certificate.notBefore || at > certificate.notAfter ? "its certificate was not valid then" : "";
}

async function keyFingerprint(certificateHex) {
  if (!certificateHex) return "";
  return toHex(await sha256(readCertificate(fromHex(certificateHex)).spki));
}
