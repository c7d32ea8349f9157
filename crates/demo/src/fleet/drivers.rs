//! The drivers and their habits. Invented, first names only. The full pilot has the first ten.

/// How somebody drives.
pub struct Driver {
    pub name: &'static str,
    /// Lifts off once the slowing still needed reaches this.
    pub lift_off_at_m_s2: f64,
    /// Goes to the brake pedal once the slowing still needed reaches this.
    pub brake_at_m_s2: f64,
    pub acceleration_m_s2: f64,
    /// Speed kept over the limit.
    pub speed_share: f64,
    /// Index into the regen levels.
    pub usual_level: usize,
    /// Chance that a round is driven at another level.
    pub other_level_chance: f64,
}

const fn driver(
    name: &'static str,
    lift_off_at_m_s2: f64,
    brake_at_m_s2: f64,
    acceleration_m_s2: f64,
    speed_share: f64,
    usual_level: usize,
    other_level_chance: f64,
) -> Driver {
    Driver {
        name,
        lift_off_at_m_s2,
        brake_at_m_s2,
        acceleration_m_s2,
        speed_share,
        usual_level,
        other_level_chance,
    }
}

/// Name, lift-off, brake, acceleration, speed share, usual level, chance of another level.
pub const DRIVERS: [Driver; 26] = [
    driver("Asta", 0.32, 0.85, 1.05, 0.95, 3, 0.25),
    driver("Bram", 0.75, 1.70, 1.45, 1.04, 2, 0.30),
    driver("Cleo", 0.45, 1.10, 1.20, 0.98, 2, 0.35),
    driver("Doru", 0.95, 2.05, 1.60, 1.07, 1, 0.30),
    driver("Edda", 0.38, 0.95, 1.00, 0.93, 3, 0.15),
    driver("Finn", 0.60, 1.40, 1.30, 1.00, 2, 0.40),
    driver("Gita", 0.50, 1.20, 1.15, 1.01, 3, 0.30),
    driver("Hugo", 0.85, 1.85, 1.55, 1.03, 3, 0.20),
    driver("Ines", 0.42, 1.05, 1.10, 0.97, 1, 0.45),
    driver("Joro", 0.70, 1.55, 1.25, 0.99, 2, 0.25),
    driver("Kaja", 0.47, 1.16, 1.09, 0.98, 3, 0.35),
    driver("Levi", 0.62, 1.47, 1.25, 1.01, 2, 0.30),
    driver("Mina", 0.48, 1.18, 1.07, 1.07, 2, 0.30),
    driver("Nilo", 0.66, 1.55, 1.29, 0.99, 1, 0.20),
    driver("Olga", 0.47, 1.16, 1.05, 1.06, 3, 0.30),
    driver("Pavo", 0.79, 1.82, 1.44, 0.94, 2, 0.35),
    driver("Quin", 0.35, 0.92, 0.98, 1.05, 1, 0.25),
    driver("Rosa", 0.62, 1.47, 1.27, 1.05, 3, 0.40),
    driver("Sven", 0.82, 1.88, 1.45, 1.03, 2, 0.35),
    driver("Tove", 0.60, 1.43, 1.27, 1.05, 2, 0.15),
    driver("Ugo", 0.34, 0.90, 0.94, 0.97, 1, 0.40),
    driver("Vera", 0.59, 1.41, 1.22, 0.97, 3, 0.35),
    driver("Wim", 0.85, 1.94, 1.50, 1.00, 2, 0.30),
    driver("Xena", 0.69, 1.61, 1.36, 1.03, 1, 0.15),
    driver("Yann", 0.86, 1.96, 1.55, 1.02, 3, 0.20),
    driver("Zita", 0.76, 1.76, 1.38, 1.01, 2, 0.35),
];

/// How many of them the full pilot and the trials know.
pub const FIRST: usize = 10;
