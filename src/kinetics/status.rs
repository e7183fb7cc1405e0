//! How far a fermentation has come, in words.

named! {
    /// How far a fermentation has come, in words.
    pub enum Status {
        /// The data are too few for any curve.
        TooFewData = "too few data",
        /// The gravity has not moved yet, and the batch is young.
        NotStarted = "not started",
        /// The first signs of a fall, before the tangent lag is over.
        Lagging = "lagging",
        /// Falling, before the steepest point or near it.
        Active = "active",
        /// Falling ever slower, not yet at rest.
        Slowing = "slowing",
        /// At rest within the tolerance, and not stuck as far as the limit is known.
        Finished = "finished",
        /// At rest more than the tolerated distance above the limit.
        Stuck = "stuck",
        /// It was at rest and falls again.
        Restarted = "restarted",
    }
}
