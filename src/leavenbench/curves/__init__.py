"""An activity curve for every refeed: models, fits, traits with standard errors."""
