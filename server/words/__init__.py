"""Numbers, units, times and codes as text. Stages store codes and numbers; sentences are made here."""
