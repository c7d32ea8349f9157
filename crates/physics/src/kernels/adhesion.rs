/// Which axle is driven.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DrivenAxle {
    Front,
    Rear,
}

/// Deceleration at which a lone braking axle reaches the limit of adhesion. [m/s²]
///
/// rear: a = μ g l_f / (L + μ h);  front: a = μ g l_r / (L - μ h)
///   L    wheelbase_m          [m]
///   l_f  cg_to_front_m        [m]  centre of gravity to front axle; l_r = L - l_f
///   h    cg_height_m          [m]
///   μ    friction             [1]  dry about 0.8, wet 0.5, snow 0.2, ice 0.1 (from memory)
/// Shape    one value
/// Sign     0 or more; infinite where the centre of gravity is so high that a front axle never slips (L ≤ μ h)
/// Missing, Errors  none
/// Holds    flat road, no air drag
/// Source   moments about the tyre contacts of the other axle; derived, as in any text on braking. Departures: none
/// Check    L 4.5, l_f 2.6, h 1.1, μ 0.8, rear -> 3.791 m/s²
/// ```
/// use backwatt_physics::kernels::adhesion::{DrivenAxle, deceleration_limit};
/// assert!((deceleration_limit(DrivenAxle::Rear, 4.5, 2.6, 1.1, 0.8) - 3.791).abs() < 1e-3);
/// ```
pub fn deceleration_limit(
    axle: DrivenAxle,
    wheelbase_m: f64,
    cg_to_front_m: f64,
    cg_height_m: f64,
    friction: f64,
) -> f64 {
    let gravity = crate::STANDARD_GRAVITY_M_S2;
    match axle {
        DrivenAxle::Rear => friction * gravity * cg_to_front_m / (wheelbase_m + friction * cg_height_m),
        DrivenAxle::Front => {
            let lever = wheelbase_m - friction * cg_height_m;
            let limit = friction * gravity * (wheelbase_m - cg_to_front_m) / lever;
            if lever > 0.0 { limit } else { f64::INFINITY }
        }
    }
}
