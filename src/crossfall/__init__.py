"""crossfall: plan and prove the work that keeps gravel roads in shape."""
