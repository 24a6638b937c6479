"use strict";
// Search over all cases: words by their beginnings, all of them wanted, the best places first.
(() => {
  const T = globalThis.teachcut;

  T.fold = (text) => text.normalize("NFKD").toLowerCase().normalize("NFKD").replace(/\p{M}/gu, "");

  const WORD = /[\u0e00-\u0eff\u3040-\u30ff\u3400-\u4dbf\u4e00-\u9fff\u{20000}-\u{3ffff}]|(?:(?![\u0e00-\u0eff\u3040-\u30ff\u3400-\u4dbf\u4e00-\u9fff\u{20000}-\u{3ffff}])[\p{L}\p{N}])+/gu;
  /** The words of a text, as the index has them. */
  T.words = (text) => T.fold(text).match(WORD) ?? [];

  const FIELDS = { procedure: 3, tooth: 2, presenter: 4, tag: 5, step: 6 };

  /** Answers (text, filters) with row numbers, the best first; `filters` is facet -> number in its table. */
  T.makeSearch = (index) => {
    const terms = index.terms === "" ? [] : index.terms.split("\n");
    const n = index.rows.length;
    const score = new Uint16Array(n);
    const best = new Uint8Array(n);
    const met = new Uint8Array(n);

    const firstAtLeast = (word) => {
      let low = 0;
      let high = terms.length;
      while (low < high) {
        const middle = (low + high) >> 1;
        if (terms[middle] < word) low = middle + 1;
        else high = middle;
      }
      return low;
    };

    const fits = (row, filters) => {
      for (const [facet, wanted] of filters) {
        const value = row[FIELDS[facet]];
        if (Array.isArray(value) ? !value.includes(wanted) : value !== wanted) return false;
      }
      return true;
    };

    return (text, filters = []) => {
      const words = [...new Set(T.words(text))];
      score.fill(0);
      met.fill(0);
      words.forEach((word, count) => {
        best.fill(0);
        for (let i = firstAtLeast(word); i < terms.length && terms[i].startsWith(word); i += 1) {
          const whole = terms[i] === word ? 3 : 0;
          let row = 0;
          for (const one of index.rows_of[i]) {
            row += one >> 2;
            const weight = (one & 3) * 4 + whole;
            if (weight > best[row]) best[row] = weight;
          }
        }
        for (let row = 0; row < n; row += 1) {
          if (best[row] && met[row] === count) {
            met[row] += 1;
            score[row] += best[row];
          }
        }
      });
      const out = [];
      for (let row = 0; row < n; row += 1) {
        if (met[row] === words.length && fits(index.rows[row], filters)) out.push(row);
      }
      if (words.length) out.sort((a, b) => score[b] - score[a] || a - b);
      return out;
    };
  };
})();
