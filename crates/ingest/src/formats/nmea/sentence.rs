//! One NMEA 0183 sentence out of a line: found, its checksum proved, its fields read.
//!
//! Source: the field order of RMC, GGA, VTG, GLL and ZDA as printed in D. DePriest, "NMEA data", and E. S. Raymond,
//! "NMEA Revealed"; the tests hold sentences of both.

use crate::value::parse_number;

/// Why a line gives no sentence: code and message of the reject.
pub type Fault = (&'static str, &'static str);

/// What a sentence states. Cells are texts as they go into a record; positions are decimal degrees.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Sentence {
    pub kind: Kind,
    /// Time of day, UTC. [ns]
    pub time_of_day_ns: Option<i64>,
    /// Year, month and day, UTC.
    pub date: Option<(i16, i8, i8)>,
    /// By position in [`super::FIELDS`], time excepted.
    pub cells: Vec<(usize, String)>,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Kind {
    #[default]
    Rmc,
    Gga,
    Vtg,
    Gll,
    Zda,
}

/// Reads the sentence in a line. `None` is a valid sentence of another kind.
pub fn read(line: &[u8]) -> Result<Option<Sentence>, Fault> {
    let body = proved_body(line)?;
    let fields: Vec<&str> = body.split(',').map(str::trim).collect();
    let address = fields[0];
    let kind = match address.get(address.len().saturating_sub(3)..) {
        // Proprietary sentences begin with P and may end like any other.
        _ if address.starts_with('P') || address.len() != 5 => return Ok(None),
        Some("RMC") => Kind::Rmc,
        Some("GGA") => Kind::Gga,
        Some("VTG") => Kind::Vtg,
        Some("GLL") => Kind::Gll,
        Some("ZDA") => Kind::Zda,
        _ => return Ok(None),
    };
    let mut reading = Reading { fields, sentence: Sentence { kind, ..Sentence::default() } };
    match kind {
        Kind::Rmc => reading.rmc()?,
        Kind::Gga => reading.gga()?,
        Kind::Vtg => reading.vtg()?,
        Kind::Gll => reading.gll()?,
        Kind::Zda => reading.zda()?,
    }
    Ok(Some(reading.sentence))
}

/// What stands between `$` and `*`, once the two hexadecimal digits after the star agree with it. Loggers write a
/// clock or a port before the `$` and sometimes after the checksum.
fn proved_body(line: &[u8]) -> Result<&str, Fault> {
    let start = memchr::memchr(b'$', line).ok_or(("not-a-sentence", "the line holds no NMEA sentence"))? + 1;
    let body = &line[start..];
    let star = memchr::memchr(b'*', body)
        .ok_or(("checksum-missing", "the sentence has no checksum, so nothing proves that it is whole"))?;
    let (body, after) = (&body[..star], &body[star + 1..]);
    let stated = after.get(..2).and_then(|digits| std::str::from_utf8(digits).ok());
    let stated = stated
        .filter(|digits| digits.bytes().all(|b| b.is_ascii_hexdigit()))
        .and_then(|digits| u8::from_str_radix(digits, 16).ok())
        .ok_or(("checksum-missing", "no two hexadecimal digits follow the star"))?;
    if body.iter().fold(0, |sum, byte| sum ^ byte) != stated {
        return Err(("checksum-wrong", "the checksum does not agree with the sentence"));
    }
    if after.contains(&b'$') {
        return Err((
            "two-sentences",
            "a second sentence begins on the line; which of them is whole is not known",
        ));
    }
    std::str::from_utf8(body)
        .ok()
        .filter(|text| text.is_ascii())
        .ok_or(("not-text", "the sentence is not ASCII text"))
}

const SHORT: Fault = ("sentence-short", "the sentence has fewer fields than its kind needs");
const FIELD: Fault = ("sentence-field", "a field of the sentence does not read as its kind says");

struct Reading<'l> {
    fields: Vec<&'l str>,
    sentence: Sentence,
}

impl Reading<'_> {
    /// `$--RMC,time,status,lat,N,lon,E,speed,course,ddmmyy,variation,E,mode`
    fn rmc(&mut self) -> Result<(), Fault> {
        self.needs(10)?;
        self.time(1)?;
        let status = self.fields[2];
        if status != "A" || self.mode(12) {
            return if matches!(status, "A" | "V") { Ok(()) } else { Err(FIELD) };
        }
        self.position(3)?;
        self.number(7, super::SPEED_KN)?;
        self.number(8, super::COURSE_DEG)?;
        self.sentence.date = match self.fields[9] {
            "" => None,
            text => {
                let (day, month, year) = six_digits(text).ok_or(FIELD)?;
                // Two digits of a year: GPS began in 1980 (common practice, no source).
                let year = i16::from(year) + if year < 80 { 2000 } else { 1900 };
                Some(date(year, month, day)?)
            }
        };
        Ok(())
    }

    /// `$--GGA,time,lat,N,lon,E,quality,satellites,hdop,altitude,M,separation,M,age,station`
    fn gga(&mut self) -> Result<(), Fault> {
        self.needs(10)?;
        self.time(1)?;
        let quality: u8 = self.fields[6].parse().map_err(|_| FIELD)?;
        self.number(7, super::SATELLITES)?;
        if quality == 0 {
            return Ok(());
        }
        self.position(2)?;
        self.number(8, super::HDOP)?;
        self.metres(9, super::ALTITUDE_M)?;
        self.metres(11, super::GEOID_SEPARATION_M)
    }

    /// `$--VTG,course,T,course,M,speed,N,speed,K,mode`
    fn vtg(&mut self) -> Result<(), Fault> {
        self.needs(9)?;
        let letter = |at: usize, wanted: &str| self.fields[at].is_empty() || self.fields[at] == wanted;
        if !(letter(2, "T") && letter(6, "N") && letter(8, "K")) {
            return Err(FIELD);
        }
        if self.mode(9) {
            return Ok(());
        }
        self.number(1, super::COURSE_DEG)?;
        self.number(5, super::SPEED_KN)?;
        self.number(7, super::SPEED_KM_H)
    }

    /// `$--GLL,lat,N,lon,E,time,status,mode`
    fn gll(&mut self) -> Result<(), Fault> {
        self.needs(7)?;
        self.time(5)?;
        match self.fields[6] {
            "A" if !self.mode(7) => self.position(1),
            "A" | "V" => Ok(()),
            _ => Err(FIELD),
        }
    }

    /// `$--ZDA,time,day,month,year,zone hours,zone minutes`
    fn zda(&mut self) -> Result<(), Fault> {
        self.needs(5)?;
        self.time(1)?;
        if self.fields[2..5].iter().all(|text| text.is_empty()) {
            return Ok(());
        }
        let [day, month, year] = [self.fields[2], self.fields[3], self.fields[4]];
        let parse = |text: &str| text.parse::<i8>().map_err(|_| FIELD);
        self.sentence.date = Some(date(year.parse().map_err(|_| FIELD)?, parse(month)?, parse(day)?)?);
        Ok(())
    }

    fn needs(&self, fields: usize) -> Result<(), Fault> {
        if self.fields.len() < fields { Err(SHORT) } else { Ok(()) }
    }

    /// The mode of later editions: N is "no fix".
    fn mode(&self, at: usize) -> bool {
        self.fields.get(at) == Some(&"N")
    }

    fn time(&mut self, at: usize) -> Result<(), Fault> {
        if !self.fields[at].is_empty() {
            self.sentence.time_of_day_ns = Some(time_of_day(self.fields[at]).ok_or(FIELD)?);
        }
        Ok(())
    }

    fn number(&mut self, at: usize, field: usize) -> Result<(), Fault> {
        if let Some(text) = self.fields.get(at).filter(|text| !text.is_empty()) {
            parse_number(text, false).ok_or(FIELD)?;
            self.sentence.cells.push((field, (*text).to_owned()));
        }
        Ok(())
    }

    fn metres(&mut self, at: usize, field: usize) -> Result<(), Fault> {
        match self.fields.get(at + 1) {
            Some(&"M") => self.number(at, field),
            Some(&"") | None => Ok(()),
            Some(_) => Err(FIELD),
        }
    }

    fn position(&mut self, at: usize) -> Result<(), Fault> {
        let [lat, north, lon, east] = [0, 1, 2, 3].map(|i| self.fields[at + i]);
        if lat.is_empty() && lon.is_empty() {
            return Ok(());
        }
        let latitude = degrees(lat, 90.0).ok_or(FIELD)? * sign(north, "N", "S").ok_or(FIELD)?;
        let longitude = degrees(lon, 180.0).ok_or(FIELD)? * sign(east, "E", "W").ok_or(FIELD)?;
        self.sentence.cells.push((super::LATITUDE_DEG, latitude.to_string()));
        self.sentence.cells.push((super::LONGITUDE_DEG, longitude.to_string()));
        Ok(())
    }
}

fn sign(text: &str, plus: &str, minus: &str) -> Option<f64> {
    if text == plus { Some(1.0) } else { (text == minus).then_some(-1.0) }
}

fn date(year: i16, month: i8, day: i8) -> Result<(i16, i8, i8), Fault> {
    jiff::civil::Date::new(year, month, day).map(|_| (year, month, day)).map_err(|_| FIELD)
}

fn six_digits(text: &str) -> Option<(i8, i8, i8)> {
    if text.len() != 6 || !text.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let two = |at: usize| text[at..at + 2].parse::<i8>().ok();
    Some((two(0)?, two(2)?, two(4)?))
}

/// "hhmmss.sss" in nanoseconds. A leap second, 60, is read as the last instant of its minute: no clock here has it.
fn time_of_day(text: &str) -> Option<i64> {
    let (whole, fraction) = text.split_once('.').unwrap_or((text, ""));
    let (hour, minute, second) = six_digits(whole)?;
    if hour > 23 || minute > 59 || second > 60 || !fraction.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let fraction_ns: i64 = format!("{fraction:0<9}").get(..9)?.parse().ok()?;
    let seconds = (i64::from(hour) * 60 + i64::from(minute)) * 60 + i64::from(second);
    let ns = seconds * 1_000_000_000 + fraction_ns;
    Some(if second == 60 { seconds * 1_000_000_000 - 1 } else { ns })
}

/// "dddmm.mmmm" in degrees. Minutes are counted whole, so that one division rounds, and 47.5° reads as 47.5.
fn degrees(text: &str, most: f64) -> Option<f64> {
    let (whole, fraction) = text.split_once('.').unwrap_or((text, ""));
    let digits = |text: &str| text.bytes().all(|b| b.is_ascii_digit());
    if whole.len() < 3 || whole.len() > 5 || fraction.len() > 10 || !digits(whole) || !digits(fraction) {
        return None;
    }
    let (degrees, minutes) = whole.split_at(whole.len() - 2);
    let degrees: u64 = degrees.parse().ok()?;
    let minutes: u64 = minutes.parse().ok()?;
    let scale = 10_u64.pow(u32::try_from(fraction.len()).ok()?);
    let part: u64 = if fraction.is_empty() { 0 } else { fraction.parse().ok()? };
    if minutes > 59 {
        return None;
    }
    // At most 180 · 60 · 10^10 + …: below 2^53 up to eleven decimals.
    let value = ((degrees * 60 + minutes) * scale + part) as f64 / (60 * scale) as f64;
    (value <= most).then_some(value)
}

#[cfg(test)]
mod tests {
    use super::super::{
        ALTITUDE_M, COURSE_DEG, FIELDS, HDOP, LATITUDE_DEG, LONGITUDE_DEG, SATELLITES, SPEED_KN,
    };
    use super::*;

    fn cell(sentence: &Sentence, field: usize) -> Option<f64> {
        sentence.cells.iter().find(|(at, _)| *at == field).map(|(_, text)| text.parse().unwrap())
    }

    fn sentence(text: &str) -> Sentence {
        read(text.as_bytes()).unwrap().unwrap()
    }

    const NOON: i64 = (12 * 3600 + 35 * 60 + 19) * 1_000_000_000;

    /// The RMC, GGA and VTG that D. DePriest, "NMEA data" (gpsinformation.org/dale/nmea.htm), prints and explains:
    /// 12:35:19 UTC on 23 March 1994, 48° 07.038' N, 11° 31.000' E, 22.4 kn, 84.4°; 8 satellites, hdop 0.9,
    /// 545.4 m above the sea, geoid 46.9 m. Degrees divided out by hand.
    #[test]
    fn sentences_printed_by_depriest() {
        let rmc = sentence("$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A");
        assert_eq!((rmc.time_of_day_ns, rmc.date), (Some(NOON), Some((1994, 3, 23))));
        assert_eq!(cell(&rmc, LATITUDE_DEG), Some(48.1173));
        assert!((cell(&rmc, LONGITUDE_DEG).unwrap() - 11.516_666_666_666_667).abs() < 1e-14);
        assert_eq!((cell(&rmc, SPEED_KN), cell(&rmc, COURSE_DEG)), (Some(22.4), Some(84.4)));
        let gga = sentence("$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47");
        assert_eq!((gga.time_of_day_ns, gga.date), (Some(NOON), None));
        assert_eq!(cell(&gga, LATITUDE_DEG), Some(48.1173));
        assert_eq!((cell(&gga, SATELLITES), cell(&gga, HDOP)), (Some(8.0), Some(0.9)));
        assert_eq!(
            (cell(&gga, ALTITUDE_M), cell(&gga, super::super::GEOID_SEPARATION_M)),
            (Some(545.4), Some(46.9))
        );
        let vtg = sentence("$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*48");
        assert_eq!((cell(&vtg, COURSE_DEG), cell(&vtg, SPEED_KN)), (Some(54.7), Some(5.5)));
        assert_eq!(cell(&vtg, super::super::SPEED_KM_H), Some(10.2));
    }

    /// A GLL of the same page, 49° 16.45' N, 123° 11.12' W at 22:54:44; and the ZDA of E. S. Raymond, "NMEA Revealed"
    /// (gpsd.gitlab.io/gpsd/NMEA.html), 16:00:12.71 UTC on 11 March 2004.
    #[test]
    fn a_printed_gll_and_zda() {
        let gll = sentence("$GPGLL,4916.45,N,12311.12,W,225444,A,*1D");
        assert_eq!(gll.time_of_day_ns, Some((22 * 3600 + 54 * 60 + 44) * 1_000_000_000));
        assert!((cell(&gll, LATITUDE_DEG).unwrap() - 49.274_166_666_666_67).abs() < 1e-13);
        assert!((cell(&gll, LONGITUDE_DEG).unwrap() + 123.185_333_333_333_33).abs() < 1e-13);
        let zda = sentence("$GPZDA,160012.71,11,03,2004,-1,00*7D");
        assert_eq!(zda.date, Some((2004, 3, 11)));
        assert_eq!(zda.time_of_day_ns, Some((16 * 3600 + 12) * 1_000_000_000 + 710_000_000));
    }

    #[test]
    fn any_talker_and_what_loggers_write_around_a_sentence() {
        let body = "RMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W";
        for talker in ["GN", "GL", "GA", "GB", "GQ", "II"] {
            let text = format!("{talker}{body}");
            let sum = text.bytes().fold(0, |sum, byte| sum ^ byte);
            let line = format!("2026-03-02 10:11:12.5 [port1] ${text}*{sum:02x}  \r");
            assert_eq!(cell(&sentence(&line), SPEED_KN), Some(22.4), "{line}");
        }
    }

    #[test]
    fn no_fix_is_no_value() {
        let of = |body: &str| {
            let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
            sentence(&format!("${body}*{sum:02X}"))
        };
        let void = of("GPRMC,123519,V,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W");
        assert!(void.cells.is_empty() && void.date.is_none() && void.time_of_day_ns == Some(NOON));
        assert!(of("GNRMC,123519.00,A,4807.038,N,01131.000,E,022.4,,230394,,,N").cells.is_empty());
        assert!(of("GPGLL,4916.45,N,12311.12,W,225444,V").cells.is_empty());
        assert_eq!(of("GPGGA,123519,,,,,0,00,99.9,,,,,,").cells, [(SATELLITES, "00".to_owned())]);
        assert!(of("GPVTG,,T,,M,0.0,N,0.0,K,N").cells.is_empty());
    }

    #[test]
    fn each_fault_by_its_name() {
        let code = |line: &str| read(line.as_bytes()).unwrap_err().0;
        assert_eq!(
            code("$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6B"),
            "checksum-wrong"
        );
        assert_eq!(code("$GPRMC,123519,A,4807.038,N,01131.000,E"), "checksum-missing");
        assert_eq!(code("$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*4"), "checksum-missing");
        assert_eq!(code("boot ok"), "not-a-sentence");
        assert_eq!(code("$GPGGA,1235$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*48"), "checksum-wrong");
        assert_eq!(
            code("$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*48$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*48"),
            "two-sentences"
        );
        let of = |body: &str| {
            let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
            code(&format!("${body}*{sum:02X}"))
        };
        assert_eq!(of("GPRMC,123519,A,4807.038,N"), "sentence-short");
        for body in [
            "GPRMC,123519,X,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W",
            "GPRMC,246060,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W",
            "GPRMC,123519,A,4867.038,N,01131.000,E,022.4,084.4,230394,003.1,W",
            "GPRMC,123519,A,9807.038,N,01131.000,E,022.4,084.4,230394,003.1,W",
            "GPRMC,123519,A,4807.038,Q,01131.000,E,022.4,084.4,230394,003.1,W",
            "GPRMC,123519,A,4807.038,N,01131.000,E,fast,084.4,230394,003.1,W",
            "GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,310294,003.1,W",
            "GPGGA,123519,4807.038,N,01131.000,E,?,08,0.9,545.4,M,46.9,M,,",
            "GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,1789.0,F,46.9,M,,",
            "GPVTG,054.7,034.4,005.5,010.2,x,x,x,x,x",
            "GPZDA,160012.71,31,04,2004,-1,00",
        ] {
            assert_eq!(of(body), "sentence-field", "{body}");
        }
    }

    #[test]
    fn other_sentences_are_none_of_ours() {
        let of = |body: &str| {
            let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
            read(format!("${body}*{sum:02X}").as_bytes()).unwrap()
        };
        assert_eq!(of("GPGSV,1,1,01,01,40,083,46"), None);
        assert_eq!(of("PUBX,00,RMC"), None);
        assert_eq!(of("PGRMC"), None, "a maker's sentence that ends like ours");
        assert_eq!(FIELDS.len(), super::super::SATELLITES + 1);
    }

    proptest::proptest! {
        /// A position in ten-millionths of a degree, written in minutes with six decimals, reads back exactly.
        #[test]
        fn positions_read_back(lat in -900_000_000_i64..=900_000_000, lon in -1_800_000_000_i64..=1_800_000_000) {
            let write = |value: i64, width: usize| {
                let micro_minutes = value.unsigned_abs() * 6;
                let (degrees, rest) = (micro_minutes / 60_000_000, micro_minutes % 60_000_000);
                format!("{degrees:0width$}{:02}.{:06}", rest / 1_000_000, rest % 1_000_000)
            };
            let body = format!(
                "GNGLL,{},{},{},{},120000.00,A,A",
                write(lat, 2), if lat < 0 { "S" } else { "N" }, write(lon, 3), if lon < 0 { "W" } else { "E" }
            );
            let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
            let read = sentence(&format!("${body}*{sum:02X}"));
            let exact = |value: i64| format!("{value}e-7").parse::<f64>().unwrap();
            proptest::prop_assert_eq!(cell(&read, LATITUDE_DEG), Some(exact(lat)));
            proptest::prop_assert_eq!(cell(&read, LONGITUDE_DEG), Some(exact(lon)));
        }

        #[test]
        fn no_line_panics(line in proptest::collection::vec(proptest::prelude::any::<u8>(), 0..120)) {
            let _ = read(&line);
        }

        /// With the checksum made right, so that every field is read.
        #[test]
        fn no_field_panics(kind in "(RMC|GGA|VTG|GLL|ZDA)", fields in "(,[0-9A-Z.\\-]{0,12}){0,16}") {
            let body = format!("GP{kind}{fields}");
            let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
            let _ = read(format!("${body}*{sum:02X}").as_bytes());
        }
    }
}
