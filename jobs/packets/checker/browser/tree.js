// Hash trees and proofs of RFC 9162 section 2.1 (the same as RFC 6962), with salted leaves for packets.

async function sha256(...pieces) {
  let data = pieces[0];
  if (pieces.length > 1) {
    data = new Uint8Array(pieces.reduce((total, piece) => total + piece.length, 0));
    let at = 0;
    for (const piece of pieces) {
      data.set(piece, at);
      at += piece.length;
    }
  }
  return new Uint8Array(await crypto.subtle.digest("SHA-256", data));
}

const LEAF = Uint8Array.of(0);
const NODE = Uint8Array.of(1);

function leafHash(content, salt = new Uint8Array(0)) {
  return sha256(LEAF, salt, content);
}

function nodeHash(left, right) {
  return sha256(NODE, left, right);
}

async function treeRoot(leaves) {
  if (leaves.length === 0) return sha256(new Uint8Array(0));
  let level = leaves;
  while (level.length > 1) {
    const above = [];
    for (let at = 0; at < level.length; at += 2) {
      above.push(at + 1 < level.length ? await nodeHash(level[at], level[at + 1]) : level[at]);
    }
    level = above;
  }
  return level[0];
}

// Logs are counted well below 2^53, so that halves are taken by division, not by shifting 32 bits.
async function showsInclusion(leaf, index, size, path, root) {
  if (!Number.isSafeInteger(index) || !Number.isSafeInteger(size) || index < 0 || index >= size) return false;
  let [place, last, value, used] = [index, size - 1, leaf, 0];
  while (last > 0) {
    if (place % 2 === 1 || place < last) {
      if (used === path.length) return false;
      const sibling = path[used];
      used += 1;
      value = place % 2 === 1 ? await nodeHash(sibling, value) : await nodeHash(value, sibling);
    }
    place = Math.floor(place / 2);
    last = Math.floor(last / 2);
  }
  return used === path.length && sameBytes(value, root);
}

function isPowerOfTwo(count) {
  let left = count;
  while (left % 2 === 0) left /= 2;
  return left === 1;
}

async function showsConsistency(first, second, firstRoot, secondRoot, path) {
  if (!Number.isSafeInteger(first) || !Number.isSafeInteger(second) || first < 1 || first > second) return false;
  if (first === second) return path.length === 0 && sameBytes(firstRoot, secondRoot);
  if (path.length === 0) return false;
  const steps = isPowerOfTwo(first) ? [firstRoot, ...path] : [...path];
  let [place, last] = [first - 1, second - 1];
  while (place % 2 === 1) [place, last] = [(place - 1) / 2, Math.floor(last / 2)];
  let earlier = steps[0];
  let later = steps[0];
  for (const step of steps.slice(1)) {
    if (last === 0) return false;
    if (place % 2 === 1 || place === last) {
      earlier = await nodeHash(step, earlier);
      later = await nodeHash(step, later);
      while (place > 0 && place % 2 === 0) [place, last] = [place / 2, Math.floor(last / 2)];
    } else {
      later = await nodeHash(later, step);
    }
    [place, last] = [Math.floor(place / 2), Math.floor(last / 2)];
  }
  return last === 0 && sameBytes(earlier, firstRoot) && sameBytes(later, secondRoot);
}
