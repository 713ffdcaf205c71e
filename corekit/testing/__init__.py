"""What tests of plugins share: laying a bench, reading worked examples, assessing whole visits."""
