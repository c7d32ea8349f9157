//! Which way battery current and power count, as far as the rows looked at tell.

use super::speed::rows;
use super::{ColumnGuess, Look, TimeGuess};
use crate::sign;
use crate::signal::{CURRENT, POWER, position};

/// Says in the reason of a battery signal which way it counts. The draft leaves the sign to be proved, as ingest does on all rows.
pub fn tell(looks: &[Look], time: &TimeGuess, columns: &mut [ColumnGuess]) {
    let is_signed = |column: &ColumnGuess| [CURRENT, POWER].map(Some).contains(&position(column.signal));
    if !columns.iter().any(is_signed) {
        return;
    }
    let frames: Vec<_> = looks.iter().map(|look| rows(look, time, columns)).collect();
    for column in columns.iter_mut().filter(|column| is_signed(column)) {
        let Some(signal) = position(column.signal) else { continue };
        let mut told: Vec<f64> =
            frames.iter().filter_map(|frame| sign::prove(frame, signal, |_| true).discharge).collect();
        let files = told.len();
        told.dedup();
        column.reason += &match told.as_slice() {
            [sign] => {
                let way = if *sign > 0.0 { "discharge" } else { "charge" };
                format!(
                    "; positive is {way} in the start of {files} of {} files, proved on all rows when read",
                    looks.len()
                )
            }
            [] => "; which way it counts is not told by the rows looked at: proved on all rows when read"
                .to_owned(),
            _ => "; files contradict one another on which way it counts: split them into sources".to_owned(),
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::formats::Format;
    use crate::inspect::{clocks, guess};

    /// Five minutes of gathering and shedding speed, current written with a sign.
    fn look(sign: f64) -> Look {
        let mut speed = 10.0_f64;
        let row = |second: usize| {
            let acceleration = if (second / 10).is_multiple_of(2) { 0.8 } else { -0.8 };
            speed += acceleration;
            let current = sign * (speed * acceleration * 8.0 + 10.0);
            vec![second.to_string(), format!("{:.2}", speed * 3.6), format!("{current:.1}")]
        };
        Look {
            shown: "log.csv".to_owned(),
            format: Format::Delimited,
            dbc: None,
            description: String::new(),
            decimal_comma: false,
            long: None,
            names: ["time_s", "speed_km_h", "battery_current_A"].map(str::to_owned).to_vec(),
            units: Vec::new(),
            rows: (0..300).map(row).collect(),
        }
    }

    fn told(looks: &[Look]) -> String {
        let time = clocks::time(&looks[0]).expect("a time");
        let mut columns = guess::columns(&looks[0]);
        tell(looks, &time, &mut columns);
        columns.into_iter().find(|column| column.signal == "pack_current").expect("a current").reason
    }

    #[test]
    fn both_ways_are_told_apart() {
        assert!(
            told(&[look(1.0)])
                .ends_with("positive is discharge in the start of 1 of 1 files, proved on all rows when read")
        );
        assert!(told(&[look(-1.0), look(-1.0)]).contains("positive is charge in the start of 2 of 2 files"));
        assert!(told(&[look(1.0), look(-1.0)]).contains("contradict one another"));
        let mut still = look(1.0);
        still.rows.iter_mut().for_each(|row| row[1] = "0".to_owned());
        assert!(told(&[still]).contains("not told by the rows looked at"));
    }
}
