//! Catalogue: aluminium conductors, steel reinforced, by the trade's bird names.
//! Owns: the table.   Gives: `Conductor`, `conductor(name)`.
//! May use: units, error.   Never: loads (loads), sag (sag).
//!
//! Where each row's dimensions, weight and rated strength come from is in its `source`:
//! G = California Public Utilities Commission General Order 95, Table 23; A = Aluminum Company of America
//! sag-and-tension sample and a power engineering handbook's Table 14.5; J = a municipal utility's overhead
//! standards, Table 3-1; M = from memory. d = diameter, A = area, w = weight, RBS = rated breaking strength.
//! Elastic constants: a cable maker's table by stranding, or computed from the components (45/7). Confirm a
//! rated strength on the maker's data sheet before anyone relies on it.

use crate::limits::error::LimitError;
use crate::limits::units::{Area, Expansion, Force, ForcePerLength, Length, Pressure};

/// A conductor.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Conductor {
    /// Its name in the trade.
    pub name: &'static str,
    /// Aluminium area in thousand circular mils, as it is ordered.
    pub kcmil: f64,
    /// Number of aluminium strands.
    pub strands_aluminium: u8,
    /// Number of steel strands.
    pub strands_steel: u8,
    /// Outer diameter.
    pub diameter: Length,
    /// Area of the aluminium.
    pub area_aluminium: Area,
    /// Area of the steel.
    pub area_steel: Area,
    /// Area of all strands, as published.
    pub area: Area,
    /// Bare weight.
    pub weight: ForcePerLength,
    /// Rated breaking strength.
    pub rated_strength: Force,
    /// Final modulus of the whole conductor.
    pub modulus: Pressure,
    /// Thermal expansion of the whole conductor.
    pub expansion: Expansion,
    /// Whether modulus and expansion are computed rather than published.
    pub elastic_computed: bool,
    /// Where dimensions, weight and strength come from.
    pub source: &'static str,
}

#[allow(clippy::too_many_arguments, reason = "one line of a table")]
const fn row(
    name: &'static str,
    kcmil: f64,
    strands_aluminium: u8,
    strands_steel: u8,
    diameter_in: f64,
    aluminium_mm2: f64,
    steel_mm2: f64,
    area_in2: f64,
    weight_lb_per_kft: f64,
    rated_lb: f64,
    modulus_gpa: f64,
    expansion_per_million_k: f64,
    elastic_computed: bool,
    source: &'static str,
) -> Conductor {
    Conductor {
        name,
        kcmil,
        strands_aluminium,
        strands_steel,
        diameter: Length::inches(diameter_in),
        area_aluminium: Area::square_millimetres(aluminium_mm2),
        area_steel: Area::square_millimetres(steel_mm2),
        area: Area::square_millimetres(area_in2 * 645.16),
        weight: ForcePerLength::pounds_per_foot(weight_lb_per_kft / 1000.0),
        rated_strength: Force::pounds(rated_lb),
        modulus: Pressure::gigapascals(modulus_gpa),
        expansion: Expansion::per_kelvin(expansion_per_million_k * 1e-6),
        elastic_computed,
        source,
    }
}

/// Every conductor of the catalogue, by size.
#[rustfmt::skip]
pub const CONDUCTORS: &[Conductor] = &[
    row("Turkey", 26.24, 6, 1, 0.198, 13.296, 2.187836, 0.024, 36.2, 1190.0, 81.0, 19.1, false, "G(d,A,w) M(RBS)"),
    row("Swan", 41.74, 6, 1, 0.25, 21.14997, 3.559658, 0.0383, 57.6, 1860.0, 81.0, 19.1, false, "G(d,A,w) M(RBS)"),
    row("Sparrow", 66.36, 6, 1, 0.316, 33.62511, 5.60062, 0.0608, 91.6, 2850.0, 81.0, 19.1, false, "G(d,A,w) M(RBS)"),
    row("Raven", 105.6, 6, 1, 0.398, 53.50831, 8.878662, 0.0967, 145.6, 4380.0, 81.0, 19.1, false, "G(d,A,w) M(RBS)"),
    row("Quail", 133.1, 6, 1, 0.447, 67.44277, 11.20224, 0.1219, 183.7, 5310.0, 81.0, 19.1, false, "G(d,A,w) M(RBS)"),
    row("Pigeon", 167.8, 6, 1, 0.502, 85.02551, 14.20009, 0.1538, 231.6, 6620.0, 81.0, 19.1, false, "G(d,A,w) M(RBS)"),
    row("Penguin", 211.6, 6, 1, 0.563, 107.2193, 17.87722, 0.1939, 292.1, 8350.0, 81.0, 19.1, false, "G(d,A,w) M(RBS)"),
    row("Partridge", 266.8, 26, 7, 0.642, 135.1896, 21.97142, 0.2436, 366.8, 11300.0, 77.0, 18.9, false, "G(d,A,w) M(RBS)"),
    row("Linnet", 336.4, 26, 7, 0.72, 170.4564, 27.73676, 0.3072, 462.5, 14100.0, 77.0, 18.9, false, "M"),
    row("Ibis", 397.5, 26, 7, 0.783, 201.4162, 32.77686, 0.363, 546.4, 16300.0, 77.0, 18.9, false, "G(d,A,w) M(RBS)"),
    row("Lark", 397.5, 30, 7, 0.806, 201.4162, 46.97038, 0.385, 620.6, 20300.0, 82.0, 17.8, false, "G(d,A,w) M(RBS)"),
    row("Hawk", 477.0, 26, 7, 0.858, 241.6995, 39.33223, 0.4356, 655.3, 19500.0, 77.0, 18.9, false, "M"),
    row("Parakeet", 556.5, 24, 7, 0.914, 281.9827, 36.5973, 0.4938, 716.0, 19800.0, 74.0, 19.6, false, "J(d,w,RBS) M(A)"),
    row("Dove", 556.5, 26, 7, 0.927, 281.9827, 45.95212, 0.5083, 765.2, 22600.0, 77.0, 18.9, false, "M"),
    row("Grosbeak", 636.0, 26, 7, 0.99, 322.266, 52.50749, 0.5809, 874.2, 25200.0, 77.0, 18.9, false, "M"),
    row("Drake", 795.0, 26, 7, 1.108, 402.8324, 65.81178, 0.7264, 1094.0, 31500.0, 77.0, 18.9, false, "A(d,A,w,RBS) G(d,A,w)"),
    row("Condor", 795.0, 54, 7, 1.093, 402.8324, 52.1989, 0.7053, 1023.0, 28200.0, 70.0, 19.3, false, "G(d,A,w) M(RBS)"),
    row("Mallard", 795.0, 30, 19, 1.14, 402.8324, 91.87624, 0.7668, 1234.0, 38400.0, 80.0, 18.0, false, "G(d,A,w,RBS)"),
    row("Tern", 795.0, 45, 7, 1.063, 402.8324, 27.87637, 0.6676, 895.0, 22100.0, 63.89885, 20.78531, true, "M"),
    row("Rail", 954.0, 45, 7, 1.165, 483.3989, 33.43874, 0.8011, 1075.0, 25900.0, 63.89885, 20.78531, true, "M"),
    row("Cardinal", 954.0, 54, 7, 1.196, 483.3989, 62.66449, 0.8464, 1227.0, 33800.0, 70.0, 19.3, false, "J(d,w,RBS) M(A)"),
    row("Curlew", 1033.5, 54, 7, 1.246, 523.6822, 67.86502, 0.9169, 1330.0, 36600.0, 70.0, 19.3, false, "M"),
    row("Bluejay", 1113.0, 45, 7, 1.259, 563.9654, 39.00111, 0.9346, 1254.0, 29800.0, 63.89885, 20.78531, true, "M"),
    row("Bittern", 1272.0, 45, 7, 1.345, 644.5319, 44.49897, 1.068, 1433.0, 34100.0, 63.89885, 20.78531, true, "M"),
    row("Pheasant", 1272.0, 54, 19, 1.382, 644.5319, 81.91825, 1.126, 1634.0, 43600.0, 68.0, 19.4, false, "M"),
    row("Lapwing", 1590.0, 45, 7, 1.504, 805.6649, 55.62371, 1.335, 1791.0, 42200.0, 63.89885, 20.78531, true, "M"),
    row("Falcon", 1590.0, 54, 19, 1.545, 805.6649, 102.1397, 1.4071, 2042.0, 54500.0, 68.0, 19.4, false, "J(d,w,RBS) M(A)"),
];

/// The conductor with this name, whatever its case.
///
/// # Errors
/// [`LimitError::Unknown`], listing the names there are.
pub fn conductor(name: &str) -> Result<&'static Conductor, LimitError> {
    CONDUCTORS
        .iter()
        .find(|one| one.name.eq_ignore_ascii_case(name))
        .ok_or_else(|| LimitError::Unknown {
            what: "conductor",
            found: name.to_owned(),
            expected: CONDUCTORS
                .iter()
                .map(|one| one.name)
                .collect::<Vec<_>>()
                .join(", "),
        })
}

impl Conductor {
    /// Stiffness times area, EA.
    #[must_use]
    pub fn stiffness(&self) -> Force {
        Force::newtons(self.modulus.to_pascals() * self.area.to_square_metres())
    }
}
