//! What a reader of rows comes to at each step.

/// What reading one record comes to.
#[derive(Clone, Copy, Debug)]
pub(super) enum Step {
    /// A row.
    Row,
    /// A record with a fault, which has been told.
    Faulty,
    /// There is no more.
    End,
}
