/// One span of a coastdown run: its two ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    pub speed_m_s: (f64, f64),
    pub time_s: (f64, f64),
    pub height_m: (f64, f64),
    pub distance_m: (f64, f64),
}

/// Road-load force over one coastdown span, with its inertia and grade terms. [N]
///
/// F = -M_e Δv/Δt - M g Δh/ΔD       (the grade term is returned as M g Δh/ΔD)
///   M_e  effective_mass_kg  [kg]  mass and rotating mass
///   M    mass_kg            [kg]
///   g    gravity_m_s2       [m/s²]
/// Shape    one span
/// Sign     positive slows; the grade term is positive uphill
/// Missing  none. Errors: none; a span of no time or no way gives no number
/// Holds    speed and height linear over the span
/// Source   40 CFR 1037.528(h)(4). Departures: none
/// Check    the regulation's example -> 4 645.5 N (4 810.2 N inertia, 164.7 N grade)
/// ```
/// use backwatt_physics::kernels::coastdown::{Span, force};
/// let span = Span {
///     speed_m_s: (31.28, 26.77), time_s: (3.05, 19.11), height_m: (0.044, 0.547), distance_m: (215.4, 697.8),
/// };
/// let (total, inertia, grade) = force(17129.0, 16108.0, 9.8061, &span);
/// assert!((total - 4645.5).abs() < 0.5 && (inertia - 4810.2).abs() < 0.5 && (grade - 164.7).abs() < 0.5);
/// ```
pub fn force(effective_mass_kg: f64, mass_kg: f64, gravity_m_s2: f64, span: &Span) -> (f64, f64, f64) {
    let change = |ends: (f64, f64)| ends.1 - ends.0;
    let inertia = -effective_mass_kg * change(span.speed_m_s) / change(span.time_s);
    let grade = mass_kg * gravity_m_s2 * change(span.height_m) / change(span.distance_m);
    (inertia - grade, inertia, grade)
}
