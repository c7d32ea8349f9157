//! CAN.
