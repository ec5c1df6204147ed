"""Ground truth: an athlete's motion with exact events, turned into sensor signals.

In: a technique (:class:`~imujump.simulate.technique.ApproachJump`) and other blocks of
movement, strung together by :func:`~imujump.simulate.session.compose`. Out: a
:class:`~imujump.simulate.motion.Motion`, its truth
(:func:`~imujump.simulate.truth.jump_truths`), and what imperfect sensors record of it
(:func:`~imujump.simulate.imu.record`, a sample source).
"""
