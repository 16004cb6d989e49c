"""Before anything is bought: which circuit suits a sender, and why."""
