//! Charging one battery at one charger.

use backwatt_schema::JOULES_PER_KWH;

#[derive(Debug, Clone, PartialEq)]
pub struct Charger {
    pub name: String,
    pub kind: ChargerKind,
    /// At the plug for ac, into the vehicle for dc.
    pub power_w: f64,
    /// Battery terminals over the grid.
    pub efficiency_frac: f64,
    /// Most power into the battery by state of charge, rising; empty: the battery's own limit alone.
    pub curve: Vec<(f64, f64)>,
    pub is_planned: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum ChargerKind {
    Ac,
    Dc,
}

impl ChargerKind {
    pub fn as_str(self) -> &'static str {
        match self {
            ChargerKind::Ac => "ac",
            ChargerKind::Dc => "dc",
        }
    }
}

/// A charger at a battery.
#[derive(Debug, Clone, Copy)]
pub struct Supply<'a> {
    pub charger: &'a Charger,
    pub capacity_kwh: f64,
    /// The battery takes this much, less from a state of charge on, warm.
    pub power_max_w: f64,
    pub taper_start_frac: f64,
}

/// The last of a charge flows at this share of the battery's most: the current at which a charge is cut off, C/20. Common
/// practice, no source.
const CUT_OFF: f64 = 0.05;
/// Steps of state of charge; the taper is a line, so that two hundred are within a thousandth.
const STEPS: usize = 200;

impl Supply<'_> {
    /// Power into the battery terminals at a state of charge. [W]
    ///
    /// min(charger, battery's most times its taper, curve); the taper falls in a line from its start to nothing at full,
    /// but not below the cut-off
    /// Source   constant current, then constant voltage; the line is common practice, no source
    pub fn power_w(&self, soc: f64) -> f64 {
        let room = 1.0 - self.taper_start_frac;
        let taper = if room > 0.0 { ((1.0 - soc) / room).clamp(CUT_OFF, 1.0) } else { 1.0 };
        let offered = match self.charger.kind {
            ChargerKind::Ac => self.charger.power_w * self.charger.efficiency_frac,
            ChargerKind::Dc => self.charger.power_w,
        };
        offered.min(self.power_max_w * taper).min(self.on_curve(soc)).max(0.0)
    }

    fn on_curve(&self, soc: f64) -> f64 {
        let curve = &self.charger.curve;
        let (Some(first), Some(last)) = (curve.first(), curve.last()) else { return f64::INFINITY };
        let above = curve.partition_point(|point| point.0 <= soc);
        match above {
            0 => first.1,
            at if at == curve.len() => last.1,
            at => {
                let (a, b) = (curve[at - 1], curve[at]);
                a.1 + (b.1 - a.1) * (soc - a.0) / (b.0 - a.0)
            }
        }
    }

    /// Time from one state of charge to full; infinite where nothing flows. [s]
    pub fn time_to_full_s(&self, from: f64) -> f64 {
        self.walk(from, f64::INFINITY).1
    }

    /// What flows in within a time, from a state of charge. [kWh]
    pub fn energy_kwh(&self, from: f64, within_s: f64) -> f64 {
        self.walk(from, within_s).0
    }

    /// Energy and time until full, or until the time is over.
    fn walk(&self, from: f64, within_s: f64) -> (f64, f64) {
        let from = from.clamp(0.0, 1.0);
        let step_kwh = self.capacity_kwh * (1.0 - from) / STEPS as f64;
        let (mut energy_kwh, mut time_s) = (0.0, 0.0);
        if step_kwh <= 0.0 {
            return (0.0, 0.0);
        }
        for step in 0..STEPS {
            let middle = from + (1.0 - from) * (step as f64 + 0.5) / STEPS as f64;
            let power_w = self.power_w(middle);
            let needs_s = step_kwh * JOULES_PER_KWH / power_w;
            let left_s = within_s - time_s;
            if !needs_s.is_finite() || needs_s >= left_s {
                return (
                    energy_kwh + power_w * left_s.min(f64::MAX) / JOULES_PER_KWH,
                    if needs_s.is_finite() { within_s } else { f64::INFINITY },
                );
            }
            energy_kwh += step_kwh;
            time_s += needs_s;
        }
        (energy_kwh, time_s)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn charger(kind: ChargerKind, power_w: f64) -> Charger {
        Charger {
            name: "c".to_owned(),
            kind,
            power_w,
            efficiency_frac: 0.9,
            curve: Vec::new(),
            is_planned: true,
        }
    }

    fn supply(charger: &Charger, capacity_kwh: f64) -> Supply<'_> {
        Supply { charger, capacity_kwh, power_max_w: capacity_kwh * 1000.0, taper_start_frac: 0.9 }
    }

    /// By hand, 100 kWh at 1C dc: 90 kWh at 100 kW take 0.9 h; the taper p(s) = 1C (1-s)/0.1 down to C/20 takes
    /// 0.1 ln 20 h, and the last half percent at C/20 another 0.1 h.
    #[test]
    fn the_taper_takes_what_its_integral_says() {
        let dc = charger(ChargerKind::Dc, 1e6);
        let expected_h = 0.9 + 0.1 * 20.0_f64.ln() + 0.1;
        let hours = supply(&dc, 100.0).time_to_full_s(0.0) / 3600.0;
        assert!((hours - expected_h).abs() < 0.01, "{hours} {expected_h}");
    }

    /// Common practice, no source: 19.2 kW ac fills any of the usual batteries overnight, and dc gives most of a charge
    /// back within an hour to an hour and a half.
    #[test]
    fn ac_is_for_the_night_and_dc_for_a_break() {
        let (ac, dc) = (charger(ChargerKind::Ac, 19.2e3), charger(ChargerKind::Dc, 150e3));
        for (packs, within_h) in [(3.0, 4.0), (5.0, 6.0), (9.0, 10.0)] {
            let usable = packs * 20.0 * 0.8;
            let hours = supply(&ac, usable).time_to_full_s(0.0) / 3600.0;
            assert!(hours < within_h && hours > 1.5, "{packs} packs, ac: {hours} h");
            for (minutes, most) in [(60.0, 1.0), (90.0, 1.0)] {
                let back = supply(&dc, usable).energy_kwh(0.1, minutes * 60.0) / usable;
                assert!(back > 0.75 && back < most, "{packs} packs, dc, {minutes} min: {back}");
            }
        }
    }

    #[test]
    fn a_curve_binds_and_no_power_never_fills() {
        let mut dc = charger(ChargerKind::Dc, 150e3);
        dc.curve = vec![(0.0, 80e3), (0.5, 80e3), (1.0, 20e3)];
        let of = supply(&dc, 200.0);
        assert_eq!((of.power_w(0.2), of.power_w(0.75)), (80e3, 50e3));
        dc.power_w = 0.0;
        let none = supply(&dc, 200.0);
        assert_eq!((none.time_to_full_s(0.5), none.energy_kwh(0.5, 3600.0)), (f64::INFINITY, 0.0));
        assert_eq!(none.time_to_full_s(1.0), 0.0, "full is full");
    }
}
