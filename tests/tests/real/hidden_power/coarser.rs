//! Coarser copies of a real log: columns hidden, state of charge in wider steps, rows left out.

use std::path::Path;

/// What is taken away from a log without quotes.
#[derive(Clone, Copy)]
pub struct Coarser<'a> {
    pub delimiter: u8,
    /// Columns left out, by how their names begin.
    pub hidden: &'a [&'a str],
    /// Spellings of the state of charge's name, and the step it is rounded to, in its own unit.
    pub soc: &'a [&'a str],
    pub soc_step: Option<f64>,
    /// Where time stands, and how far rows are apart: the first row at or after every multiple stays. [s]
    pub every: Option<(&'a str, f64)>,
}

/// Seconds by which a clock may print early.
const EARLY_S: f64 = 1e-6;

impl Coarser<'_> {
    pub fn of(&self, log: &[u8]) -> Vec<u8> {
        let mut lines = log.split(|&byte| byte == b'\n');
        let header = lines.next().unwrap_or_default();
        let names: Vec<String> =
            self.cells(header).map(|cell| String::from_utf8_lossy(cell).trim().to_owned()).collect();
        let kept: Vec<bool> =
            names.iter().map(|name| !self.hidden.iter().any(|hidden| name.starts_with(hidden))).collect();
        let soc = names.iter().position(|name| self.soc.contains(&name.as_str()));
        assert!(soc.is_some(), "no state of charge among {names:?}");
        let clock = self.every.map(|(column, every_s)| {
            let at = names.iter().position(|name| name == column);
            (at.unwrap_or_else(|| panic!("no {column} among {names:?}")), every_s)
        });
        let mut copy = Vec::new();
        self.write(&mut copy, header, &kept, None);
        let mut due_s = f64::NEG_INFINITY;
        for line in lines.filter(|line| !line.trim_ascii().is_empty()) {
            if let Some((at, every_s)) = clock {
                let Some(now_s) = self.cells(line).nth(at).and_then(number) else { continue };
                if now_s < due_s - EARLY_S {
                    continue;
                }
                due_s = (((now_s + EARLY_S) / every_s).floor() + 1.0) * every_s;
            }
            self.write(&mut copy, line, &kept, soc);
        }
        copy
    }

    fn cells<'l>(&self, line: &'l [u8]) -> impl Iterator<Item = &'l [u8]> + use<'l> {
        let delimiter = self.delimiter;
        line.trim_ascii_end().split(move |&byte| byte == delimiter)
    }

    fn write(&self, copy: &mut Vec<u8>, line: &[u8], kept: &[bool], soc: Option<usize>) {
        let mut first = true;
        for (at, cell) in self.cells(line).enumerate().filter(|(at, _)| kept.get(*at).is_none_or(|kept| *kept))
        {
            if !std::mem::take(&mut first) {
                copy.push(self.delimiter);
            }
            match (self.soc_step.filter(|_| soc == Some(at)), number(cell)) {
                (Some(step), Some(value)) => copy.extend(rounded(value, step).into_bytes()),
                _ => copy.extend(cell),
            }
        }
        copy.push(b'\n');
    }
}

fn number(cell: &[u8]) -> Option<f64> {
    std::str::from_utf8(cell).ok()?.trim().parse().ok()
}

/// To the nearest step, half a step up; six decimals hide what binary fractions leave.
fn rounded(value: f64, step: f64) -> String {
    format!("{:.6}", (value / step + 0.5).floor() * step)
}

/// The logs of a folder whose names a test accepts, by name.
pub fn logs(folder: &Path, accept: impl Fn(&str) -> bool) -> Vec<(String, Vec<u8>)> {
    let entries = std::fs::read_dir(folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display()));
    let mut found: Vec<(String, Vec<u8>)> = entries
        .flatten()
        .map(|entry| (entry.file_name().to_string_lossy().into_owned(), entry.path()))
        .filter(|(name, _)| accept(name))
        .map(|(name, path)| (name, std::fs::read(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))))
        .collect();
    found.sort();
    found
}

#[test]
fn takes_away_what_it_says() {
    let log = b"t [s];Pack V;SoC [%]\r\n0;390;86.94\r\n0.1;390;86.96\r\n0.9;391;\r\n1.0;391;87.04\r\n2.5;391;87.06\r\n";
    let coarser = Coarser {
        delimiter: b';',
        hidden: &["Pack"],
        soc: &["SoC [%]"],
        soc_step: Some(0.1),
        every: Some(("t [s]", 1.0)),
    };
    let copy = String::from_utf8(coarser.of(log)).expect("text");
    assert_eq!(copy, "t [s];SoC [%]\n0;86.900000\n1.0;87.000000\n2.5;87.100000\n");
    let whole = Coarser { hidden: &[], soc_step: None, every: None, ..coarser }.of(log);
    assert_eq!(whole, log.iter().copied().filter(|&byte| byte != b'\r').collect::<Vec<u8>>());
}
